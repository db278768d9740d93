"""What lies between: counts to frames to impaired bytes to frames."""
