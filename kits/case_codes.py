"""Codes of cases: C-00001 and on, never given twice."""

from kits.models import Case

_DIGITS = 5


def next_code() -> str:
    """The code after the newest case's; the unique column refuses a code that two people took at once."""
    newest = Case.objects.select_for_update().filter(code__startswith="C-").order_by("-pk").first()
    number = int(newest.code.removeprefix("C-")) + 1 if newest else 1
    return f"C-{number:0{_DIGITS}d}"
