"""Anything scanned or typed anywhere: a case, a patient, a lot or unit, an item."""

import re
from urllib.parse import urlencode

from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from kits.models import Case
from practice import access, clock
from practice.models import Patient
from practice.refusals import Refusal
from stock.models import Item
from stock.scanning import UNKNOWN, read
from stock.tracing import find_label, find_text

_CASE_CODE = re.compile(r"C-\d+", re.IGNORECASE)


@access.signed_in()
@require_safe
def scan(request):
    """Go where the scanned code leads; what nobody knows is said in words."""
    text = request.GET.get("code", "").strip()
    if not text:
        return redirect("today")
    found = _case(request, text) or _patient(request, text) or _stock(request, text)
    if found is not None:
        return redirect(found)
    return render(request, "kits/scan_unknown.html", {"text": text}, status=404)


def _case(request, text: str) -> str | None:
    if not _CASE_CODE.fullmatch(text):
        return None
    case = access.visible(request.user, Case).filter(code__iexact=text).first()
    if case is None:
        return None
    return reverse("pick_list" if case.state in Case.OPEN else "case", args=[case.code])


def _patient(request, text: str) -> str | None:
    found = access.visible(request.user, Patient).filter(chart_number__iexact=text).first()
    return reverse("patient", args=[found.chart_number]) if found is not None else None


def _stock(request, text: str) -> str | None:
    """Lots go to the page that finds lots; a code that names only an item goes to the item."""
    label = read(text, today=clock.today(clinic=request.clinic))
    typed = label.standard == UNKNOWN
    codes = [text] if typed else [code for code in (label.gtin, label.product) if code]
    items = access.visible(request.user, Item)
    item = items.filter(codes__value__in=codes).first() or (
        items.filter(code__iexact=text).first() if typed else None
    )
    try:
        lots = find_text(text=text) if typed else find_label(label=label)
    except Refusal:
        lots = None
    numbered = typed or bool(label.serial or label.lot or label.donation)
    if item is not None and not (numbered and not typed):
        return reverse("item", args=[item.code])
    if lots is not None and lots.exists():
        return f"{reverse('find_lot')}?{urlencode({'q': text})}"
    return reverse("item", args=[item.code]) if item is not None else None
