"""Cases against a node under test: the probe plays the host.  One file a subject."""
