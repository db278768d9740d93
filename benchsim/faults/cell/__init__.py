"""Faults of a load cell: each takes a Cell and gives a changed one."""
