"""Pages of the stock layer: receiving, moving, places, orders. What knows cases lives in kits."""
