"""The standards' own test procedures, carried out on a scale and its host."""
