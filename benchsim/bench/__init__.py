"""All parts on one virtual clock."""
