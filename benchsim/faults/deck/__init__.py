"""Faults of the load receptor and its supports: each takes a Receptor and gives a changed one."""
