"""What the host feeds: an indication to bytes, bytes to commands.  One protocol a file."""
