"""Move, use, write off, count: scan a lot, say how many and where."""

from collections.abc import Callable
from dataclasses import dataclass

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from practice import access, clock
from practice.refusals import Refusal
from stock import consuming, correcting, moving
from stock.forms import CountForm, MoveForm, UseForm, WasteForm
from stock.looking_up import look_up
from stock.models import Entry, Lot
from stock.unit_words import units_words
from stock.views.scope import fresh_key, lying_at, shelves, way_back


@dataclass(frozen=True)
class Task:
    """One thing to do with units of a lot: its address, words, form, and the verb with its sentence."""

    name: str
    title: str
    under: str
    button: str
    form: type
    do: Callable
    caution: str = ""
    danger: bool = False


def _move(*, lot, place, to_place, quantity, **rest):
    moving.move(lot=lot, from_place=place, to_place=to_place, quantity=quantity, **rest)
    return f"Moved {units_words(quantity, lot.item.stock_unit)} of {lot} from {place} to {to_place}."


def _use(*, lot, place, quantity, **rest):
    consuming.use(lot=lot, place=place, quantity=quantity, **rest)
    return f"Recorded {units_words(quantity, lot.item.stock_unit)} of {lot} from {place} as used."


def _waste(*, lot, place, quantity, reason, **rest):
    consuming.waste(lot=lot, place=place, quantity=quantity, reason=reason, **rest)
    why = Entry.Reason(reason).label
    return f"Wrote off {units_words(quantity, lot.item.stock_unit)} of {lot} from {place}: {why}."


def _count(*, lot, place, quantity, **rest):
    entries = correcting.correct_count(lot=lot, place=place, counted=quantity, **rest)
    if not entries:
        return f"The count of {lot} at {place} agrees with the record: {quantity}."
    return (
        f"{lot} at {place} now stands at {quantity}; the difference of {entries[0].quantity:+d} is recorded."
    )


MOVE = Task("stock_move", "Move", "Scan what you move, then say where it goes.", "Move", MoveForm, _move)
USE = Task(
    "stock_use",
    "Use",
    "Scan what was used outside a case.",
    "Record use",
    UseForm,
    _use,
    "For use outside a case, such as training or a walk-in visit.",
)
WASTE = Task(
    "stock_waste",
    "Write off",
    "Scan what is written off.",
    "Write off",
    WasteForm,
    _waste,
    "What is written off leaves the stock for good.",
    danger=True,
)
COUNT = Task(
    "stock_count",
    "Count",
    "Scan what you count, then say how many lie there.",
    "Record the count",
    CountForm,
    _count,
    "Count first: what is recorded is not shown here.",
)


def _chosen(request, places):
    """(lot, lots to choose from, why none): by number of the row, or by what was scanned or typed."""
    asked = request.POST.get("lot") or request.GET.get("lot") or ""
    code = request.GET.get("code", "").strip()
    if asked.isdecimal():
        return access.fetch(request.user, Lot, select=("item",), pk=int(asked)), [], ""
    if not code:
        return None, [], ""
    try:
        found = look_up(text=code, today=clock.today(clinic=request.clinic))
    except Refusal as refusal:
        return None, [], str(refusal)
    lots = found.lots or list(access.visible(request.user, Lot).filter(item__in=found.items))
    here = [lot for lot in lots if lying_at(lot, places)]
    if not here:
        named = found.item.name if found.item else f"“{code}”"
        return None, [], f"No unit of {named} lies on a shelf here. Look it up, or scan another pack."
    return (here[0], [], "") if len(here) == 1 else (None, here, "")


def _form(request, task, lot, places):
    """The task's form for a lot, bound where it was sent; None where none of the lot lies on a shelf."""
    quantities = lying_at(lot, places)
    if not quantities:
        return None
    return task.form(
        request.POST or None,
        lots=access.visible(request.user, Lot).select_related("item"),
        places=places.filter(pk__in=quantities),
        quantities=quantities,
        clinic=request.clinic,
        targets=places,
        initial={"lot": lot.pk, "key": fresh_key(task.name), "place": request.GET.get("place")},
    )


def _done(request, task, form):
    """Do it. A refusal is put on the form."""
    try:
        sentence = task.do(**form.cleaned_data, by=request.user, at=clock.now())
    except Refusal as refusal:
        form.add_error(None, str(refusal))
        return None
    messages.success(request, sentence)
    lot_page = reverse("lot", args=[form.cleaned_data["lot"].pk])
    return redirect(way_back(request, lot_page))


def _handle(request, task):
    places = shelves(request.user)
    lot, several, fault = _chosen(request, places)
    form = _form(request, task, lot, places) if lot else None
    status = 404 if fault else 200
    if form is not None and form.is_bound:
        done = _done(request, task, form) if form.is_valid() else None
        if done is not None:
            return done
        status = 409 if form.non_field_errors() else 422
    elif request.method == "POST":
        status = 409 if lot else 422
    shown = {"task": task, "lot": lot, "several": several, "fault": fault, "form": form}
    shown |= {"back": way_back(request, ""), "here": reverse(task.name)}
    return render(request, "stock/handle.html", shown, status=status)


@access.signed_in(need="handle_stock")
@require_http_methods(["GET", "HEAD", "POST"])
def stock_move(request):
    """Move units of a lot to another place."""
    return _handle(request, MOVE)


@access.signed_in(need="handle_stock")
@require_http_methods(["GET", "HEAD", "POST"])
def stock_use(request):
    """Record use that belongs to no case."""
    return _handle(request, USE)


@access.signed_in(need="handle_stock")
@require_http_methods(["GET", "HEAD", "POST"])
def stock_waste(request):
    """Write units off, with the reason."""
    return _handle(request, WASTE)


@access.signed_in(need="handle_stock")
@require_http_methods(["GET", "HEAD", "POST"])
def stock_count(request):
    """Count the units of a lot at a place; a difference becomes an entry of its own."""
    return _handle(request, COUNT)
