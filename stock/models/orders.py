"""Reorder proposals, and orders on their way from proposed to received."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from practice.constraints import one_of
from practice.models import Clinic
from stock.models.catalogue import Supplier, SupplierItem


class OrderState(models.TextChoices):
    """Choices of ``Order.State``."""

    PROPOSED = "proposed", "to approve"
    APPROVED = "approved", "approved"
    SENT = "sent", "sent"
    PART_RECEIVED = "part-received", "partly received"
    RECEIVED = "received", "received"
    CANCELLED = "cancelled", "cancelled"


class Order(models.Model):
    """A purchase order to one supplier for one clinic."""

    clinic_path = "clinic"

    State = OrderState

    OPEN = (State.APPROVED, State.SENT, State.PART_RECEIVED)

    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="orders")
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="orders")
    number = models.CharField(max_length=20, unique=True)
    state = models.CharField(max_length=14, choices=State, default=State.PROPOSED)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    approved_at = models.DateTimeField(null=True, blank=True)
    approved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    second_approved_at = models.DateTimeField(null=True, blank=True)
    second_approved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    sent_at = models.DateTimeField(null=True, blank=True)
    received_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            one_of("state", OrderState, name="order_state_known"),
            models.CheckConstraint(
                condition=Q(state__in=["proposed", "cancelled"]) | Q(approved_at__isnull=False),
                name="order_approved_before_sent",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["sent", "part-received", "received"]) | Q(sent_at__isnull=False),
                name="order_sent_has_moment",
            ),
            models.CheckConstraint(
                condition=Q(second_approved_by__isnull=True) | ~Q(second_approved_by=F("approved_by")),
                name="order_approvers_differ",
            ),
        ]

    def __str__(self):
        return self.number


class OrderLine(models.Model):
    """Packs of one item on an order, at the price of the day."""

    clinic_path = "order__clinic"

    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="lines")
    supplier_item = models.ForeignKey(SupplierItem, on_delete=models.PROTECT, related_name="order_lines")
    packs = models.PositiveIntegerField()
    pack_size = models.PositiveIntegerField()
    pack_price = models.DecimalField(max_digits=10, decimal_places=2)
    units_received = models.PositiveIntegerField(default=0)
    expected_on = models.DateField(null=True, blank=True)
    reason = models.TextField(blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=Q(packs__gte=1), name="order_line_packs_not_zero"),
            models.UniqueConstraint(fields=["order", "supplier_item"], name="order_line_once_per_item"),
        ]

    def __str__(self):
        return f"{self.packs} × {self.supplier_item} on {self.order}"

    @property
    def units(self) -> int:
        """Units ordered: packs times units a pack."""
        return self.packs * self.pack_size

    @property
    def price(self):
        """Price of the line in the clinic's currency."""
        return self.packs * self.pack_price


class Proposal(models.Model):
    """The planner's newest suggestion to buy; replaced at each planning run, kept only while open."""

    clinic_path = "clinic"

    clinic = models.ForeignKey(Clinic, on_delete=models.CASCADE, related_name="proposals")
    supplier_item = models.ForeignKey(SupplierItem, on_delete=models.CASCADE, related_name="proposals")
    packs = models.PositiveIntegerField()
    order_by_on = models.DateField()
    reason = models.TextField()
    # The figures behind the sentence, for "show the sums".
    sums = models.JSONField(default=dict)

    class Meta:
        ordering = ["order_by_on", "id"]
        constraints = [
            models.UniqueConstraint(fields=["clinic", "supplier_item"], name="proposal_once_per_item"),
            models.CheckConstraint(condition=Q(packs__gte=1), name="proposal_packs_not_zero"),
        ]

    def __str__(self):
        return f"{self.packs} × {self.supplier_item} for {self.clinic}"
