"""Management commands of the practice layer."""
