"""What can happen to a frame on its way.  One impairment a file; the file's name is its name."""
