"""A run as columns and as a file."""
