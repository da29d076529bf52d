"""Reorders: what to order now and why; choose, change packs, approve."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from kits.ordering_proposals import order_proposals
from kits.reorder_list import reorder_list
from kits.replanning import ensure_fresh
from practice import access, clock
from practice.refusals import Refusal
from stock.item_outlook import first_to_order
from stock.models import Order


def _chosen(request) -> tuple[dict[int, int], list[str]]:
    """Packs by id of the supplier's item for the ticked lines, and what is wrong with them in words."""
    packs, faults = {}, []
    for line in request.POST.getlist("line"):
        number = request.POST.get(f"packs-{line}", "").strip()
        if not line.isdecimal():
            continue
        if not number.isdecimal() or not 1 <= int(number) <= 100_000:
            faults.append(f"“{number}” is not a number of packs. Give a whole number, or untick the line.")
            continue
        packs[int(line)] = int(number)
    return packs, faults


def _page(request, packs=None, status=200):
    today = clock.today(clinic=request.clinic)
    shown = {
        "list": reorder_list(clinic=request.clinic, today=today, packs=packs),
        "may_approve": access.may(request.user, request.clinic, "approve_orders"),
        "first": first_to_order(clinic=request.clinic),
        "today": today,
    }
    return render(request, "kits/reorders/reorders.html", shown, status=status)


@access.signed_in()
@require_GET
def reorders(request):
    """What is proposed, by supplier, and the orders that wait for a manager."""
    ensure_fresh(clinic=request.clinic, today=clock.today(clinic=request.clinic), at=clock.now())
    return _page(request)


@access.signed_in(need="approve_orders")
@require_POST
def reorders_sums(request):
    """What the chosen packs come to: fragments for the page, or the page itself without scripts."""
    packs, faults = _chosen(request)
    if not request.htmx:
        for fault in faults:
            messages.error(request, fault)
        return _page(request, packs, status=422 if faults else 200)
    today = clock.today(clinic=request.clinic)
    found = reorder_list(clinic=request.clinic, today=today, packs=packs)
    shown = {"list": found, "faults": faults}
    return render(request, "kits/reorders/fragments/sums.html", shown, status=422 if faults else 200)


@access.signed_in(need="approve_orders")
@require_POST
def reorders_approve(request):
    """Order what is chosen: one order a supplier, approved at once."""
    packs, faults = _chosen(request)
    facts = {"clinic": request.clinic, "by": request.user, "at": clock.now()}
    orders = []
    if not faults:
        try:
            orders = order_proposals(packs=packs, **facts)
        except Refusal as refusal:
            faults = [str(refusal)]
    if faults:
        for fault in faults:
            messages.error(request, fault)
        return _page(request, packs, status=409)
    for order in orders:
        messages.success(request, _words(order))
    return redirect("order", order_number=orders[0].number) if len(orders) == 1 else redirect("reorders")


def _words(order: Order) -> str:
    if order.state == Order.State.APPROVED:
        return f"{order} to {order.supplier} is approved. Send it and mark it as sent."
    return f"{order} to {order.supplier} is above the limit: a second manager has to approve it too."
