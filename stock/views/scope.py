"""What the stock pages choose from: places and lots in reach, and the way back."""

from uuid import uuid4

from django.db.models import Sum
from django.utils.http import url_has_allowed_host_and_scheme

from practice import access
from stock.models import Lot, Place


def fresh_key(what: str) -> str:
    """A key for one change, sent with its form, so that a form sent twice changes things once."""
    return f"{what}/{uuid4()}"


def shelves(user, *, need: str = "handle_stock"):
    """Places whose units people may handle here. A tray's units belong to its case and are left out."""
    places = access.visible(user, Place, need=need).select_related("clinic")
    return places.exclude(kind=Place.Kind.TRAY).order_by("clinic_id", "id")


def lying_at(lot: Lot, places) -> dict[int, int]:
    """Units of a lot at these places, by place id."""
    rows = lot.balances.filter(place__in=places, quantity__gt=0).order_by("place__clinic_id", "place_id")
    return dict(rows.values_list("place_id").annotate(units=Sum("quantity")))


def way_back(request, otherwise: str) -> str:
    """The page to come back to: ``next`` of the form where it is one of ours, else another."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    if url_has_allowed_host_and_scheme(wanted, allowed_hosts={request.get_host()}):
        return wanted
    return otherwise
