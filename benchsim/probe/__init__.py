"""Conformance of a node-link host or node under test, case by case."""
