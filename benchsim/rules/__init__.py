"""Rule profiles as data, each value with its clause."""
