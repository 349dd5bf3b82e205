"""Rehearsal: virtual units and machines whose truth is known, and strategies played against them."""
