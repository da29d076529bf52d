"""The sums behind forecast, alerts and reorders: NumPy in, NumPy out, no clock and no database.

Direction inside: pmf <- supply <- shelf <- outflow <- reorder; presence and history use pmf alone.
"""
