"""What the sensors say: what limits the clock, where a temperature ends, how heat flows. Pure: no clock, no file."""
