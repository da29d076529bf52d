"""Management commands of the stock layer."""
