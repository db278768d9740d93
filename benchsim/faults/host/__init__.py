"""What is wrong in the host's settings and memory: each takes a HostPart and gives a changed one."""
