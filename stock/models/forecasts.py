"""The newest forecast of each item at each clinic, written in bulk by a planning run."""

from django.db import models

from practice.models import Clinic
from stock.models.catalogue import Item


class ItemForecast(models.Model):
    """What the planner worked out for one item: the summary as columns, the daily series as JSON."""

    clinic_path = "clinic"

    clinic = models.ForeignKey(Clinic, on_delete=models.CASCADE, related_name="forecasts")
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="forecasts")
    starts_on = models.DateField()
    made_at = models.DateTimeField()
    # Changes whenever a ledger entry, a case or an order of the clinic changes; see kits.replanning.
    stamp = models.CharField(max_length=120)
    on_hand = models.IntegerField()
    usable = models.IntegerField()
    expected_use_30d = models.FloatField()
    expected_use_90d = models.FloatField()
    must_have_peak = models.IntegerField(default=0)
    must_have_peak_on = models.DateField(null=True, blank=True)
    covered_until = models.DateField(null=True, blank=True)
    order_by_on = models.DateField(null=True, blank=True)
    series = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["clinic", "item"], name="forecast_once_per_item"),
        ]

    def __str__(self):
        return f"{self.item} at {self.clinic} from {self.starts_on}"
