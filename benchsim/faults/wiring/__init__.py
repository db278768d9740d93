"""Faults between a cell and its terminals: each takes a Wiring and gives a changed one."""
