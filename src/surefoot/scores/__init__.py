"""What was gained: frame times, means, comparisons, sound and surfaces. Pure: no clock, no file."""
