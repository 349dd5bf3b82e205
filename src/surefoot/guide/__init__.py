"""The guided session: propose, apply, run, judge, record; and what is known afterwards."""
