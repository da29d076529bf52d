"""Pages of the kits layer."""
