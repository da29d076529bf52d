"""Forms of the case pages: they clean what was typed and do nothing else."""

import datetime as dt
from zoneinfo import ZoneInfo

from django import forms
from django.utils import timezone

from kits.models import CaseFinding
from kits.plans import GRAFT_WORDS, MEMBRANE_WORDS
from practice.models import Patient
from practice.teeth import UnknownTooth, read_teeth, show
from stock.models import Entry

# What may be chosen at the chair as the reason of waste; the other reasons belong to the shelf.
WASTE_REASONS = (
    Entry.Reason.NOT_USED,
    Entry.Reason.DROPPED,
    Entry.Reason.WRONG_SIZE,
    Entry.Reason.NOT_FIRM,
    Entry.Reason.LEFTOVER,
    Entry.Reason.DAMAGED,
    Entry.Reason.EXPIRED,
)
_DATE = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
_TIME = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")


def _families(words: dict[str, str], names: dict[str, str]) -> list[tuple[str, str]]:
    codes = dict.fromkeys(words.values())
    return [("", "By the usual rule"), *((code, names[code]) for code in codes)]


GRAFTS = _families(
    GRAFT_WORDS,
    {
        "AL": "Human allograft",
        "XB": "Bovine",
        "SY": "Synthetic",
        "PT": "Putty, human",
        "DM": "Demineralised, human",
    },
)
MEMBRANES = _families(
    MEMBRANE_WORDS,
    {
        "RC": "Collagen",
        "RX": "Long-lasting collagen",
        "PT": "Dense PTFE",
        "TR": "Reinforced PTFE",
        "AM": "Amnion, human",
        "PC": "Pericardium, human",
    },
)


class ByHandForm(forms.Form):
    """A unit whose label cannot be read."""

    part = forms.ChoiceField(label="Its number", widget=forms.RadioSelect)
    note = forms.CharField(label="Why it was not scanned", max_length=200)

    def __init__(self, *args, parts=(), **kwargs):
        super().__init__(*args, **kwargs)
        self._parts = parts
        self.fields["part"].choices = [
            (f"{part.lot.pk}/{part.place.pk}", f"{part.lot.shown}, {part.place}") for part in parts
        ]

    def clean_part(self):
        """The suggested part that was chosen."""
        chosen = self.cleaned_data["part"]
        return next(part for part in self._parts if f"{part.lot.pk}/{part.place.pk}" == chosen)


class FateForm(forms.Form):
    """What became of a unit: "used", "used:<site id>", "wasted" or "put-back"."""

    unit = forms.IntegerField()
    fate = forms.RegexField(r"^(used(:\d+)?|wasted|put-back)$")
    quantity = forms.IntegerField(min_value=1, required=False)
    reason = forms.ChoiceField(choices=[("", ""), *Entry.Reason.choices], required=False)
    note = forms.CharField(max_length=200, required=False)


class ConsentForm(forms.ModelForm):
    """What a patient, who was asked, declines."""

    class Meta:
        model = Patient
        fields = ("declines_human", "declines_porcine", "declines_bovine")
        labels = {
            "declines_human": "Declines human tissue",
            "declines_porcine": "Declines porcine material",
            "declines_bovine": "Declines bovine material",
        }


class CaseTimeForm(forms.Form):
    """When and where a case takes place."""

    on = forms.DateField(label="Day", widget=_DATE)
    at = forms.TimeField(label="Starts at", widget=_TIME)
    minutes = forms.IntegerField(
        label="Minutes", min_value=5, max_value=720, required=False, help_text="Left empty: by the procedure."
    )
    room = forms.ModelChoiceField(label="Room", queryset=None, required=False, empty_label="Not known yet")

    def __init__(self, *args, clinic, rooms, **kwargs):
        super().__init__(*args, **kwargs)
        self._clinic = clinic
        self.fields["room"].queryset = rooms

    @property
    def starts_at(self) -> dt.datetime:
        """The moment in the clinic's own time zone."""
        typed = dt.datetime.combine(self.cleaned_data["on"], self.cleaned_data["at"])
        return timezone.make_aware(typed, ZoneInfo(self._clinic.time_zone))


class BookForm(CaseTimeForm):
    """A new case."""

    chart_number = forms.CharField(label="Chart number", max_length=24)
    procedures = forms.ModelMultipleChoiceField(
        label="Procedures", queryset=None, help_text="Hold Ctrl, or tap with two fingers, to choose several."
    )
    teeth = forms.CharField(label="Teeth", max_length=80, required=False, help_text="For example 14, 15.")
    clinician = forms.ModelChoiceField(
        label="Clinician", queryset=None, required=False, empty_label="Not known yet"
    )
    assistant = forms.ModelChoiceField(
        label="Assistant", queryset=None, required=False, empty_label="Not known yet"
    )
    note = forms.CharField(label="Note", max_length=255, required=False)
    field_order = ("chart_number", "teeth", "procedures", "on", "at", "minutes", "room", "clinician")

    def __init__(self, *args, procedures, people, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["procedures"].queryset = procedures
        self.fields["procedures"].widget.attrs.update(size=6)
        self.fields["clinician"].queryset = people
        self.fields["assistant"].queryset = people

    def clean_teeth(self):
        """The teeth as FDI numbers, read as this clinic numbers them."""
        try:
            return read_teeth(self.cleaned_data["teeth"], self._clinic.tooth_notation)
        except UnknownTooth as fault:
            raise forms.ValidationError(str(fault)) from fault


class PlanForm(forms.Form):
    """What holds for the whole case."""

    graft_material = forms.ChoiceField(label="Graft material", choices=GRAFTS, required=False)
    membrane_class = forms.ChoiceField(label="Membrane", choices=MEMBRANES, required=False)
    guided = forms.TypedChoiceField(
        label="Printed guide",
        choices=[("", "Not decided"), ("1", "Guided"), ("0", "Not guided")],
        coerce=lambda value: value == "1",
        empty_value=None,
        required=False,
    )
    clinician = forms.ModelChoiceField(
        label="Clinician", queryset=None, required=False, empty_label="Not known yet"
    )
    assistant = forms.ModelChoiceField(
        label="Assistant", queryset=None, required=False, empty_label="Not known yet"
    )
    note = forms.CharField(label="Note", max_length=255, required=False)

    def __init__(self, *args, people, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["clinician"].queryset = people
        self.fields["assistant"].queryset = people


def _measure(label: str, **facts) -> forms.DecimalField:
    return forms.DecimalField(
        label=label, min_value=0, max_digits=5, decimal_places=2, required=False, **facts
    )


class SiteForm(forms.Form):
    """A tooth site: its implant, safe limits and measures. What is left empty is cleared."""

    tooth = forms.CharField(label="Tooth", max_length=20)
    implant = forms.ModelChoiceField(
        label="Implant", queryset=None, required=False, empty_label="Not chosen yet"
    )
    connection_in_place = forms.ChoiceField(label="Platform already in place", required=False)
    longest_safe_mm = _measure("Longest safe, mm", max_value=30)
    widest_safe_mm = _measure("Widest safe, mm", max_value=12)
    healing_height_mm = forms.IntegerField(
        label="Healing height, mm", min_value=1, max_value=9, required=False
    )
    defect_width_mm = _measure("Defect width, mm", max_value=60)
    defect_height_mm = _measure("Defect height, mm", max_value=60)
    graft_cc = _measure("Graft volume, cc", max_value=20)

    def __init__(self, *args, clinic, implants, connections=(), **kwargs):
        super().__init__(*args, **kwargs)
        self._clinic = clinic
        self.fields["implant"].queryset = implants
        self.fields["connection_in_place"].choices = [
            ("", "None, or not known"),
            *((code, code) for code in connections),
        ]

    def clean_tooth(self):
        """One tooth as its FDI number, read as this clinic numbers it."""
        try:
            found = read_teeth(self.cleaned_data["tooth"], self._clinic.tooth_notation)
        except UnknownTooth as fault:
            raise forms.ValidationError(str(fault)) from fault
        if len(found) != 1:
            raise forms.ValidationError("Give one tooth at a time.")
        return found[0]


class ToothField(forms.ModelChoiceField):
    """Choice of a tooth site by its number."""

    def label_from_instance(self, obj):
        """The tooth as the clinic numbers it."""
        return show(obj.tooth, obj.case.clinic.tooth_notation)


class FindingForm(forms.Form):
    """A finding known before surgery, from imaging or the plan."""

    finding = forms.ModelChoiceField(label="Finding", queryset=None)
    site = ToothField(label="At tooth", queryset=None, required=False, empty_label="The case as a whole")
    present = forms.TypedChoiceField(
        label="Known to be", choices=[("1", "there"), ("0", "not there")], coerce=lambda value: value == "1"
    )
    source = forms.ChoiceField(
        label="From",
        choices=[(CaseFinding.Source.IMAGING, "imaging"), (CaseFinding.Source.PLAN, "the plan")],
    )

    def __init__(self, *args, findings, sites, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["finding"].queryset = findings
        self.fields["site"].queryset = sites
