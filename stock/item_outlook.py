"""Questions to the newest forecasts of a clinic."""

from practice.models import Clinic
from stock.models import ItemForecast


def first_to_order(*, clinic: Clinic) -> ItemForecast | None:
    """The forecast whose order-by day comes first, with its item; None where all are covered. One query."""
    rows = ItemForecast.objects.filter(clinic=clinic, order_by_on__isnull=False).defer("series")
    return rows.select_related("item").order_by("order_by_on", "item__name").first()
