"""Cases against a host under test: the probe plays the nodes.  One file a subject."""
