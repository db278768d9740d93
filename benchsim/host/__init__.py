"""The reference host: frames to weight to indication."""
