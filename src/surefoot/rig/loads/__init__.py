"""Loads: what is run while a setting is held. One to a file, found through `surefoot.rig.registry`."""
