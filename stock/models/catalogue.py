"""The catalogue: what can be kept, what it is called outside, who sells it and for how much."""

from django.db import models
from simple_history.models import HistoricalRecords

from practice.constraints import one_of
from practice.models import Clinic


class Supplier(models.Model):
    """A company or bank that goods are ordered from."""

    name = models.CharField(max_length=120, unique=True)
    email = models.EmailField(blank=True)
    freight_free_over = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    is_tissue_bank = models.BooleanField(default=False)

    class Meta:
        ordering = ["name"]

    def __str__(self):
        return self.name


class ItemQuerySet(models.QuerySet):
    """Ways to ask the catalogue."""

    def active(self):
        """Items still in use."""
        return self.filter(is_active=True)

    def stocked(self):
        """Items whose quantity is kept in the ledger: everything but reusable sets and lab work."""
        return self.exclude(supply_mode=Item.Supply.ASSET)


class ItemTracking(models.TextChoices):
    """Choices of ``Item.Tracking``."""

    NONE = "none", "not tracked"
    LOT = "lot", "lot"
    SERIAL = "lot+serial", "lot and serial"
    DONOR = "lot+donor", "lot, tissue unit and donor"
    CASE = "case-id", "made for one case"
    SET = "set-id+load", "set and load"


class ItemCriticality(models.TextChoices):
    """Choices of ``Item.Criticality``."""

    CANNOT_START = "A", "a case cannot start without it"
    SUBSTITUTE = "B", "a substitute exists"
    CONVENIENCE = "C", "nice to have"


class ItemSupply(models.TextChoices):
    """Choices of ``Item.Supply``."""

    OWNED = "owned", "owned"
    CONSIGNED = "consignment", "consigned"
    PER_CASE = "per-case", "ordered for a case"
    ASSET = "asset", "reusable set"


class ItemApprover(models.TextChoices):
    """Choices of ``Item.Approver``."""

    ASSISTANT = "assistant", "assistant, logged"
    CLINICIAN = "clinician", "clinician signs off"
    NEVER = "never", "never"


class Item(models.Model):
    """One thing in one size. Facts that do not fit its kind stay empty."""

    Tracking = ItemTracking

    Criticality = ItemCriticality

    Supply = ItemSupply

    Approver = ItemApprover

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=200)
    category = models.CharField(max_length=60, db_index=True)
    stock_unit = models.CharField(max_length=20, default="each")
    spec = models.CharField(max_length=200, blank=True)
    tracking = models.CharField(max_length=12, choices=Tracking, default=Tracking.LOT)
    criticality = models.CharField(max_length=1, choices=Criticality, default=Criticality.SUBSTITUTE)
    supply_mode = models.CharField(max_length=12, choices=Supply, default=Supply.OWNED)
    human_tissue = models.BooleanField(default=False)
    tissue_log_needed = models.BooleanField(default=False)
    # Origins in the words of the label, joined by "+" or "/": "bovine+porcine".
    origin = models.CharField(max_length=40, blank=True)
    single_patient_use = models.BooleanField(default=True)
    leftover_rule = models.CharField(max_length=160, blank=True)
    shelf_life_months = models.PositiveSmallIntegerField(null=True, blank=True)
    storage = models.CharField(max_length=80, blank=True)
    temperature_min_c = models.SmallIntegerField(null=True, blank=True)
    temperature_max_c = models.SmallIntegerField(null=True, blank=True)
    safety_days = models.PositiveSmallIntegerField(default=0)
    substitution_group = models.CharField(max_length=30, blank=True, db_index=True)
    substitution_rule = models.TextField(blank=True)
    substitution_approver = models.CharField(max_length=10, choices=Approver, default=Approver.CLINICIAN)
    is_active = models.BooleanField(default=True)
    # Size facts by kind, in the units of their names; grams and cc are separate facts of the label.
    diameter_mm = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    length_mm = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    connection = models.CharField(max_length=12, blank=True)
    width_mm = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    height_mm = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    resorbable = models.BooleanField(null=True, blank=True)
    volume_cc = models.DecimalField(max_digits=6, decimal_places=3, null=True, blank=True)
    mass_g = models.DecimalField(max_digits=6, decimal_places=3, null=True, blank=True)
    size_label = models.CharField(max_length=20, blank=True)
    sets_owned = models.PositiveSmallIntegerField(null=True, blank=True)

    history = HistoricalRecords()
    objects = ItemQuerySet.as_manager()

    class Meta:
        ordering = ["code"]
        constraints = [
            one_of("tracking", ItemTracking, name="item_tracking_known"),
            one_of("criticality", ItemCriticality, name="item_criticality_known"),
            one_of("supply_mode", ItemSupply, name="item_supply_mode_known"),
            one_of("substitution_approver", ItemApprover, name="item_approver_known"),
            models.CheckConstraint(
                condition=models.Q(human_tissue=False) | models.Q(tissue_log_needed=True),
                name="item_human_tissue_is_logged",
            ),
        ]

    # Implants, grafts and scan bodies are one record each; nothing of them may go unscanned.
    UNIT_TRACKING = (Tracking.SERIAL, Tracking.DONOR)

    def __str__(self):
        return f"{self.code} {self.name}"

    @property
    def is_unit_tracked(self) -> bool:
        """Whether each unit is its own record: serial-numbered devices and human tissue."""
        return self.tracking in self.UNIT_TRACKING

    @property
    def is_set(self) -> bool:
        """Whether this is a reusable instrument set, which has loads instead of lots."""
        return self.supply_mode == self.Supply.ASSET

    @property
    def origins(self) -> frozenset[str]:
        """Origins as separate words, e.g. {"bovine", "porcine"}."""
        return frozenset(self.origin.replace("/", "+").split("+")) - {""}


class ItemCode(models.Model):
    """What a label outside calls the item: a GTIN, a HIBC product, an ISBT product, a supplier code."""

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="codes")
    standard = models.CharField(max_length=12, default="GS1")
    value = models.CharField(max_length=60)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["standard", "value"], name="item_code_names_one_item"),
        ]

    def __str__(self):
        return f"{self.standard} {self.value}"


class SupplierItem(models.Model):
    """How a supplier sells an item: its code there, the pack, the price of a pack, the stated lead time."""

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="items")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="suppliers")
    supplier_code = models.CharField(max_length=40)
    pack_size = models.PositiveIntegerField(default=1)
    pack_price = models.DecimalField(max_digits=10, decimal_places=2)
    minimum_packs = models.PositiveIntegerField(default=1)
    lead_days = models.PositiveSmallIntegerField(default=3)
    preferred = models.BooleanField(default=True)

    history = HistoricalRecords()

    class Meta:
        ordering = ["supplier_id", "supplier_code"]
        constraints = [
            models.UniqueConstraint(fields=["supplier", "supplier_code"], name="supplier_code_once"),
            models.CheckConstraint(condition=models.Q(pack_size__gte=1), name="supplier_item_pack_not_empty"),
            models.CheckConstraint(
                condition=models.Q(pack_price__gte=0), name="supplier_item_price_not_negative"
            ),
            models.CheckConstraint(
                condition=models.Q(minimum_packs__gte=1), name="supplier_item_minimum_one_pack"
            ),
        ]

    def __str__(self):
        return f"{self.supplier_code} from {self.supplier}"


class PriceBreak(models.Model):
    """From this many packs on, a pack costs this much."""

    supplier_item = models.ForeignKey(SupplierItem, on_delete=models.CASCADE, related_name="price_breaks")
    from_packs = models.PositiveIntegerField()
    pack_price = models.DecimalField(max_digits=10, decimal_places=2)

    class Meta:
        ordering = ["from_packs"]
        constraints = [
            models.UniqueConstraint(fields=["supplier_item", "from_packs"], name="price_break_once"),
        ]

    def __str__(self):
        return f"from {self.from_packs} packs: {self.pack_price}"


class ClinicItem(models.Model):
    """What a clinic has decided about an item: the least it keeps, whatever the forecast says."""

    clinic = models.ForeignKey(Clinic, on_delete=models.CASCADE, related_name="item_settings")
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="clinic_settings")
    keep_at_least = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["clinic", "item"], name="clinic_item_once"),
        ]

    def __str__(self):
        return f"{self.item} at {self.clinic}"
