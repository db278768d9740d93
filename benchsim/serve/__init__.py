"""The bench live: every socket, port and the wall clock stand here and nowhere else."""
