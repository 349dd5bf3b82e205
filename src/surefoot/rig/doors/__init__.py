"""Doors: the interfaces by which the kernel or a maker documents that a quantity may be set. One family to a file.

A door is opt-in on the unit's card, one for each knob. Nothing here goes by model-specific registers, past a lock, or
past what the interface itself allows: what is locked says so.
"""

from surefoot.rig.doors.protocol import Door, DoorRange
from surefoot.rig.doors.registry import door, doors

__all__ = ["Door", "DoorRange", "door", "doors"]
