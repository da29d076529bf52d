"""Orders: the list, one order, and its way from approved to received."""

from decimal import Decimal
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST
from django_tables2 import RequestConfig

from practice import access, clock
from practice.refusals import Refusal
from stock import ordering
from stock.exports import KINDS, attachment, list_file
from stock.forms import OrderFilterForm
from stock.models import Order
from stock.order_lists import searched, with_sums
from stock.order_pages import order_page
from stock.purchase_orders import purchase_order_workbook
from stock.tables import OrderTable

PER_PAGE = 50
CENT = Decimal("0.01")


def _filtered(request, form):
    found = access.visible(request.user, Order).filter(clinic=request.clinic)
    wanted = form.cleaned_data if form.is_valid() else {}
    if wanted.get("state"):
        found = found.filter(state=wanted["state"])
    if wanted.get("supplier"):
        found = found.filter(supplier=wanted["supplier"])
    return with_sums(searched(found, text=request.GET.get("q", "")))


def _file(kind, found):
    header = ("order", "supplier", "lines", "price", "currency", "made", "expected", "state")
    rows = [
        (
            order.number,
            order.supplier.name,
            order.lines_number,
            order.price.quantize(CENT),
            order.clinic.currency,
            order.created_at.astimezone(ZoneInfo(order.clinic.time_zone)).date(),
            order.expected_on,
            order.get_state_display(),
        )
        for order in found
    ]
    return list_file(kind, name="orders", header=header, rows=rows)


@access.signed_in()
def orders(request):
    """List, search, filter and export the clinic's orders."""
    form = OrderFilterForm(request.GET)
    found = _filtered(request, form)
    if request.GET.get("export") in KINDS:
        return _file(request.GET["export"], found)
    table = OrderTable(found)
    RequestConfig(request, paginate={"per_page": PER_PAGE}).configure(table)
    filtered = any(request.GET.get(name) for name in ("q", "state", "supplier"))
    shown = {"table": table, "form": form, "filtered": filtered, "q": request.GET.get("q", "")}
    return render(request, "stock/orders.html", shown)


_WITH = ("supplier", "clinic__practice", "created_by", "approved_by", "second_approved_by")


def _fetch(request, order_number, need="see"):
    return access.fetch(request.user, Order, need=need, select=_WITH, number=order_number)


@access.signed_in()
def order(request, order_number):
    """One order: lines, who approved it, what has arrived, and the next step."""
    found = _fetch(request, order_number)
    may = {need: access.may(request.user, found.clinic, need) for need in ("approve_orders", "handle_stock")}
    shown = {"page": order_page(found, user=request.user), "order": found, "may": may}
    return render(request, "stock/order.html", shown)


@access.signed_in()
def order_sheet(request, order_number):
    """The order as a sheet to print or to send by post."""
    found = _fetch(request, order_number)
    shown = {"page": order_page(found, user=request.user), "order": found, "now": clock.now()}
    return render(request, "stock/order_sheet.html", shown)


@access.signed_in()
def order_workbook(request, order_number):
    """The order as an XLSX file for the supplier."""
    found = _fetch(request, order_number)
    return attachment(purchase_order_workbook(found), filename=f"{found.number}.xlsx")


def _advance(request, order_number, verb, sentence):
    found = _fetch(request, order_number, need="approve_orders")
    try:
        found = verb(order=found, by=request.user, at=clock.now())
    except Refusal as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, sentence(found))
    return redirect("order", order_number=order_number)


def _approved_words(found):
    if found.state == Order.State.APPROVED:
        return f"{found} is approved. Send it to {found.supplier} and mark it as sent."
    return f"You approved {found}. It is above your limit, so a second manager has to approve it too."


@access.signed_in(need="approve_orders")
@require_POST
def order_approve(request, order_number):
    """Approve an order, as the first or the second manager."""
    return _advance(request, order_number, ordering.approve, _approved_words)


@access.signed_in(need="approve_orders")
@require_POST
def order_send(request, order_number):
    """Say that an order went out."""
    words = "{} is marked as sent. It counts as due from now on."
    return _advance(request, order_number, ordering.send, words.format)


@access.signed_in(need="approve_orders")
@require_POST
def order_cancel(request, order_number):
    """Cancel an order of which nothing has arrived."""
    words = "{} is cancelled. What it was for is proposed again when it is still needed."
    return _advance(request, order_number, ordering.cancel, words.format)
