"""One file to a plan, a run and verdicts."""
