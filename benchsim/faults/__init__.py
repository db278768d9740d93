"""What goes wrong.  One fault a file, a folder a stage; the file's name is the fault's name."""
