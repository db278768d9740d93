"""One verb a file, loaded when it is typed."""
