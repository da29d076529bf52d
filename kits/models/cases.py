"""Cases: one patient's booked surgery, its tooth sites, plan, choices and findings."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from kits.models.boms import BomVersion
from kits.models.procedures import Finding, Procedure
from practice.constraints import one_of
from practice.models import Clinic, Patient, Room
from stock.models import Item


class CaseQuerySet(models.QuerySet):
    """Cases as the clinic asks for them."""

    def open(self):
        """Booked, set out or in surgery: everything that still needs material."""
        return self.filter(state__in=Case.OPEN)

    def on(self, day, *, clinic):
        """Cases of a clinic that start on that day of its own calendar."""
        return self.filter(clinic=clinic, on=day)


class CaseState(models.TextChoices):
    """Choices of ``Case.State``."""

    BOOKED = "booked", "booked"
    SET_OUT = "set-out", "set out"
    IN_SURGERY = "in-surgery", "in surgery"
    CLOSED = "closed", "closed"
    CANCELLED = "cancelled", "cancelled"


class Case(models.Model):
    """One patient's booked surgery or visit."""

    clinic_path = "clinic"

    State = CaseState

    OPEN = (State.BOOKED, State.SET_OUT, State.IN_SURGERY)

    code = models.CharField(max_length=16, unique=True)
    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="cases")
    room = models.ForeignKey(Room, on_delete=models.PROTECT, null=True, blank=True, related_name="cases")
    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="cases")
    clinician = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="cases"
    )
    assistant = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="assisted_cases",
    )
    # The day in the clinic's own calendar; starts_at is the moment.
    on = models.DateField(db_index=True)
    starts_at = models.DateTimeField()
    minutes = models.PositiveSmallIntegerField(default=60)
    state = models.CharField(max_length=12, choices=State, default=State.BOOKED)
    booked_at = models.DateTimeField()
    changed_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    cancelled_at = models.DateTimeField(null=True, blank=True)
    # Identity in the file it was imported from, so that reading it again changes nothing.
    external_id = models.CharField(max_length=120, blank=True, db_index=True)
    note = models.CharField(max_length=255, blank=True)
    # Material choices and measurements that hold for the whole case; blank means the default rule.
    graft_material = models.CharField(max_length=40, blank=True)
    membrane_class = models.CharField(max_length=40, blank=True)
    guided = models.BooleanField(null=True, blank=True)

    objects = CaseQuerySet.as_manager()

    class Meta:
        ordering = ["starts_at", "id"]
        constraints = [
            one_of("state", CaseState, name="case_state_known"),
            models.CheckConstraint(condition=Q(minutes__gte=5), name="case_lasts_five_minutes"),
            models.CheckConstraint(
                condition=~Q(state="closed") | Q(closed_at__isnull=False), name="case_closed_has_moment"
            ),
            models.UniqueConstraint(
                fields=["clinic", "external_id"], condition=~Q(external_id=""), name="case_imported_once"
            ),
        ]
        indexes = [models.Index(fields=["clinic", "on", "state"], name="case_clinic_day")]

    def __str__(self):
        return self.code


class FileBooking(models.Model):
    """How files of bookings know a case, and which plan they last gave it.

    A case may stand in several files (a list and a calendar), each with an id of its own. What a file said
    last tells a booking that changed there from a plan that people changed here.
    """

    clinic_path = "clinic"

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="file_bookings")
    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="+")
    identity = models.CharField(max_length=120)
    # Codes of procedures and FDI numbers of teeth, parted by spaces, in the order of the file.
    procedures = models.CharField(max_length=255)
    teeth = models.CharField(max_length=160, blank=True)
    read_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["clinic", "identity"], name="file_booking_names_one_case"),
            models.CheckConstraint(condition=~Q(identity=""), name="file_booking_has_identity"),
        ]

    def __str__(self):
        return f"{self.identity} is {self.case}"


class CaseProcedure(models.Model):
    """A procedure of a case, as booked or as it turned out; both are kept."""

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="procedures")
    procedure = models.ForeignKey(Procedure, on_delete=models.PROTECT, related_name="case_procedures")
    version = models.ForeignKey(BomVersion, on_delete=models.PROTECT, related_name="case_procedures")
    planned = models.BooleanField(default=True)
    done = models.BooleanField(default=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["case", "procedure"], name="procedure_once_per_case"),
            models.CheckConstraint(
                condition=Q(planned=True) | Q(done=True), name="case_procedure_planned_or_done"
            ),
        ]

    def __str__(self):
        return f"{self.procedure} in {self.case}"


class CaseSite(models.Model):
    """A tooth site of a case (FDI number), with the implant planned there and what was measured."""

    clinic_path = "case__clinic"

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="sites")
    tooth = models.CharField(max_length=2, help_text="FDI, ISO 3950")
    implant = models.ForeignKey(
        Item, on_delete=models.PROTECT, null=True, blank=True, related_name="planned_at"
    )
    longest_safe_mm = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    widest_safe_mm = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    healing_height_mm = models.PositiveSmallIntegerField(default=3)
    # The implant already in place, for later stages: its platform decides every part.
    connection_in_place = models.CharField(max_length=12, blank=True)
    defect_width_mm = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    defect_height_mm = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    graft_cc = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["case", "tooth"], name="site_once_per_case"),
            models.CheckConstraint(
                condition=Q(tooth__regex=r"^([1-4][1-8]|[5-8][1-5])$"), name="site_tooth_is_fdi"
            ),
        ]

    def __str__(self):
        return f"{self.tooth} of {self.case}"


class PlanChoice(models.Model):
    """A slot, planned option or choose-one group of a case, decided by a person."""

    clinic_path = "case__clinic"

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="choices")
    site = models.ForeignKey(
        CaseSite, on_delete=models.CASCADE, null=True, blank=True, related_name="choices"
    )
    # "GRAFT_SIZED", "group:SKG-COVER" or "plan:LAB-GDE".
    subject = models.CharField(max_length=40)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    quantity = models.PositiveSmallIntegerField(default=1)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["case", "site", "subject", "item"],
                condition=Q(site__isnull=False),
                name="choice_once_per_site",
            ),
            models.UniqueConstraint(
                fields=["case", "subject", "item"],
                condition=Q(site__isnull=True),
                name="choice_once_per_case",
            ),
        ]

    def __str__(self):
        return f"{self.subject} of {self.case}: {self.item and self.item.code}"


class CaseFindingSource(models.TextChoices):
    """Choices of ``CaseFinding.Source``."""

    IMAGING = "imaging", "known from imaging"
    PLAN = "plan", "planned"
    SURGERY = "surgery", "seen in surgery"


class CaseFinding(models.Model):
    """A finding that is known for a case: from imaging, from the plan, or seen in surgery."""

    clinic_path = "case__clinic"

    Source = CaseFindingSource

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="findings")
    site = models.ForeignKey(
        CaseSite, on_delete=models.CASCADE, null=True, blank=True, related_name="findings"
    )
    finding = models.ForeignKey(Finding, on_delete=models.PROTECT, related_name="seen_in")
    present = models.BooleanField()
    source = models.CharField(max_length=8, choices=Source, default=Source.SURGERY)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            one_of("source", CaseFindingSource, name="case_finding_source_known"),
            models.UniqueConstraint(
                fields=["case", "site", "finding"],
                condition=Q(site__isnull=False),
                name="case_finding_once_per_site",
            ),
            models.UniqueConstraint(
                fields=["case", "finding"], condition=Q(site__isnull=True), name="case_finding_once_per_case"
            ),
        ]

    def __str__(self):
        return f"{self.finding}: {'yes' if self.present else 'no'}"
