"""What befalls frames between node and host: each takes a LinkPart and gives a changed one."""
