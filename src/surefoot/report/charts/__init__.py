"""One chart to a file. Each takes plain data and a canvas, and gives an Altair chart; none reads the journal."""
