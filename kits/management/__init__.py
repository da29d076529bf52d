"""Commands of the kits layer."""
