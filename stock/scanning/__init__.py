"""Reading the codes on packs: GS1, HIBC and ISBT 128 labels. Pure: no Django, no clock.

One door: ``read`` turns any scanned or typed text into a ``Label``. Direction inside the package:
reading -> gs1, hibc, isbt128 -> gs1_rules, gs1_elements -> dates, check_digits, symbols -> label.
"""

from stock.scanning.label import GS1, HIBC, ISBT_128, UNKNOWN, Label
from stock.scanning.reading import read

__all__ = ["GS1", "HIBC", "ISBT_128", "UNKNOWN", "Label", "read"]
