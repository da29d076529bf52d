"""Commands of the stock layer."""
