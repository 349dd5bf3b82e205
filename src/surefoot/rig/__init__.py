"""The machine itself: sensors, loads, and hands."""
