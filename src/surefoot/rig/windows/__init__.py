"""What Windows documents: performance counters, the event log. The calls apart from what is made of their answers."""
