"""What the place does to the scale: each takes a Site and gives a changed one."""
