"""Decisions about a lot (hold, recall, release), and putting an entry right."""

from django.contrib import messages
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from practice import access, clock
from practice.refusals import Refusal
from stock import holds
from stock.correcting import correct
from stock.forms import CorrectionForm, ReasonForm
from stock.models import Entry, Lot


def _decide(request, lot_id, verb, sentence):
    lot = access.fetch(request.user, Lot, need="decide_holds", select=("item",), pk=lot_id)
    form = ReasonForm(request.POST)
    if not form.is_valid():
        messages.error(request, f"Nothing was changed. Say in up to 160 characters why {lot} is {sentence}.")
        return redirect("lot", lot_id=lot.pk)
    try:
        verb(lot=lot, reason=form.cleaned_data["reason"], by=request.user, at=clock.now())
    except Refusal as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"{lot} is {sentence}.")
    return redirect("lot", lot_id=lot.pk)


@access.signed_in(need="decide_holds")
@require_POST
def lot_hold(request, lot_id):
    """Hold a lot, so that nothing of it reaches a tray."""
    return _decide(request, lot_id, holds.hold, "held")


@access.signed_in(need="decide_holds")
@require_POST
def lot_recall(request, lot_id):
    """Mark a lot as recalled by its maker or bank."""
    return _decide(request, lot_id, holds.recall, "recalled")


@access.signed_in(need="decide_holds")
@require_POST
def lot_release(request, lot_id):
    """Release a held or recalled lot."""
    return _decide(request, lot_id, holds.release, "released")


@access.signed_in(need="handle_stock")
@require_POST
def entry_correct(request, entry_id):
    """Put right an entry that was wrong: a new entry takes it back."""
    select = ("lot__item", "place__clinic")
    entry = access.fetch(request.user, Entry, need="handle_stock", select=select, pk=entry_id)
    form = CorrectionForm(request.POST)
    if entry.source.startswith("case:"):
        messages.error(
            request, "This belongs to a case. Undo it on the page of the case, so that both agree."
        )
    elif not form.is_valid():
        messages.error(request, "Nothing was changed. Say in a few words why the entry was wrong.")
    else:
        _correct(request, entry, form.cleaned_data["note"])
    return redirect("lot", lot_id=entry.lot_id)


def _correct(request, entry, note):
    try:
        correct(entry=entry, note=note, by=request.user, at=clock.now())
    except Refusal as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"Entry {entry.sequence} is put right by a new entry.")
