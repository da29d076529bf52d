"""Lots (or single units) of an item, and the places where they lie."""

import datetime as dt

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from practice.constraints import one_of
from practice.models import Clinic
from stock.models.catalogue import Item, Supplier
from stock.values import last_usable


class PlaceKind(models.TextChoices):
    """Choices of ``Place.Kind``."""

    STOCKROOM = "stockroom", "Stockroom"
    FRIDGE = "fridge", "Fridge"
    CART = "cart", "Room cart"
    TRAY = "tray", "Tray"
    QUARANTINE = "quarantine", "Quarantine"
    LOAN = "loan", "On loan"
    TRANSIT = "transit", "In transit"


class Place(models.Model):
    """Where stock lies. Only pickable kinds feed a tray; the others are out of reach on purpose."""

    clinic_path = "clinic"

    Kind = PlaceKind

    PICKABLE = (Kind.STOCKROOM, Kind.FRIDGE, Kind.CART)
    # Stock that will be there for surgery: on the shelf, or already on a tray.
    PRESENT = (Kind.STOCKROOM, Kind.FRIDGE, Kind.CART, Kind.TRAY)

    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="places")
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=12, choices=Kind, default=Kind.STOCKROOM)

    class Meta:
        ordering = ["clinic_id", "id"]
        constraints = [
            one_of("kind", PlaceKind, name="place_kind_known"),
            models.UniqueConstraint(fields=["clinic", "name"], name="place_name_once_per_clinic"),
        ]

    def __str__(self):
        return self.name


class LotQuerySet(models.QuerySet):
    """Lots as the clinic asks for them; the day is always passed in."""

    def usable(self, *, on: dt.date):
        """In date through that day (and the item's safety days), and neither held nor recalled.

        Asks once which safety days occur: adding a column of days to a date is not portable SQL.
        """
        in_date = Q(expires_on__isnull=True)
        for days in Item.objects.order_by().values_list("safety_days", flat=True).distinct():
            in_date |= Q(item__safety_days=days, expires_on__gte=on + dt.timedelta(days=days))
        return self.filter(in_date, decision=Lot.Decision.NONE)

    def soonest_expiry(self):
        """Soonest to expire first; lots without a date last."""
        return self.order_by(F("expires_on").asc(nulls_last=True), "id")


class LotDecision(models.TextChoices):
    """Choices of ``Lot.Decision``."""

    NONE = "", "no decision"
    HELD = "held", "held"
    RECALLED = "recalled", "recalled"


class Lot(models.Model):
    """A lot of an item, or one unit of it where each unit is its own record (serial or tissue unit).

    Only human decisions are stored; expired, expiring and usable are computed for a date.
    """

    Decision = LotDecision

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="lots")
    lot_number = models.CharField(max_length=40, blank=True, db_index=True)
    # A device's serial number, or the distinct code of a tissue unit.
    serial = models.CharField(max_length=40, blank=True, db_index=True)
    donor_id = models.CharField(max_length=40, blank=True, db_index=True)
    expires_on = models.DateField(null=True, blank=True, db_index=True)
    made_on = models.DateField(null=True, blank=True)
    decision = models.CharField(max_length=10, choices=Decision, default=Decision.NONE, blank=True)
    decision_reason = models.CharField(max_length=160, blank=True)
    supplier = models.ForeignKey(
        Supplier, on_delete=models.PROTECT, null=True, blank=True, related_name="lots"
    )
    received_at = models.DateTimeField(null=True, blank=True)
    received_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    temperature_c = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    package_intact = models.BooleanField(null=True, blank=True)
    unit_cost = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    label_as_scanned = models.CharField(max_length=200, blank=True)

    objects = LotQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            one_of("decision", LotDecision, name="lot_decision_known"),
            models.UniqueConstraint(fields=["item", "lot_number", "serial"], name="lot_once_per_item"),
            models.UniqueConstraint(
                fields=["item", "serial"], condition=~Q(serial=""), name="lot_serial_once_per_item"
            ),
            models.CheckConstraint(
                condition=Q(made_on__isnull=True)
                | Q(expires_on__isnull=True)
                | Q(expires_on__gte=F("made_on")),
                name="lot_expiry_after_made",
            ),
        ]

    def __str__(self):
        return f"{self.item.code} {self.shown}"

    @property
    def shown(self) -> str:
        """What people call it: the unit's own number where it has one, else the lot."""
        return self.serial or self.lot_number or "no lot"

    @property
    def last_usable_on(self) -> dt.date | None:
        """Last day of surgery it may be used on: its expiry less the item's safety days."""
        return last_usable(expires_on=self.expires_on, safety_days=self.item.safety_days)
