"""Setting out, through one door: lists of what to fetch, units onto the tray, scans.

Inside: pick_lists ← tray_moves ← tray_scans; ``begin`` is the tray's own.
"""

from kits.pick_lists import day_pick_lists, pick_list, readiness_by_case
from kits.tray import begin
from kits.tray_moves import put_on_tray, take_off, tick, untick
from kits.tray_scans import scan

__all__ = [
    "begin",
    "day_pick_lists",
    "pick_list",
    "put_on_tray",
    "readiness_by_case",
    "scan",
    "take_off",
    "tick",
    "untick",
]
