"""Faults of a node, its converter or its settings: each takes a NodePart and gives a changed one."""
