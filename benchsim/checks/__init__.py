"""A sentence and a trace to a verdict with its reason."""
