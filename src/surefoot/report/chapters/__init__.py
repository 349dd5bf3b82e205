"""One group of sections to a file: material in, sections out."""
