"""The built-in load of main memory: most of what is free, filled with patterns, checked and filled again."""
