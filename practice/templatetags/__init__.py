"""Template tags of our own."""
