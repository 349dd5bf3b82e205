"""A second machine at the bench: its sensors, loads and hands over one line, everything else here."""
