"""Stock: catalogue, suppliers, lots, the append-only ledger, orders, labels and planning sums.

Middle layer: it knows ``practice`` and never why something is needed; demand reaches it as values.
"""
