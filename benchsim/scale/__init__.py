"""What stands on the ground: mass to forces to mV/V to counts."""
