"""Tables of the lists of cases and patients."""

import django_tables2 as tables
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.html import format_html, format_html_join

from kits.models import Case
from kits.promises import procedures_in_words
from practice.models import Patient
from practice.teeth import show, spoken
from practice.templatetags.ui import near_day

_LOW = {"th": {"class": "low"}, "td": {"class": "low"}}
_NUMBER = {"th": {"class": "number"}, "td": {"class": "number"}}
_MONO = {"td": {"class": "mono"}}
_DATE = {"td": {"class": "date"}}
_SHAPES = {
    "booked": "waiting",
    "set-out": "ready",
    "in-surgery": "thin",
    "closed": "done",
    "cancelled": "stop",
}


def _status(state: str, word: str) -> str:
    return render_to_string("ui/status.html", {"state": _SHAPES[state], "word": word})


class CaseTable(tables.Table):
    """Cases with the day, the room, the patient's chart and what is done."""

    on = tables.Column(verbose_name="Day", order_by=("on", "starts_at"), attrs=_DATE)
    starts_at = tables.DateTimeColumn(verbose_name="Time", format="H:i", orderable=False)
    room = tables.Column(verbose_name="Room", default="–", order_by="room__code")
    procedures = tables.Column(verbose_name="Procedure", empty_values=(), orderable=False)
    teeth = tables.Column(verbose_name="Teeth", empty_values=(), orderable=False)
    patient = tables.Column(verbose_name="Chart", order_by="patient__chart_number", attrs=_MONO)
    clinician = tables.Column(
        verbose_name="Clinician", default="–", order_by="clinician__display_name", attrs=_LOW
    )
    state = tables.Column(verbose_name="State")
    code = tables.Column(verbose_name="Case", attrs={"th": {"class": "low"}, "td": {"class": "low mono"}})

    caption = "Cases"
    noun = "cases"

    class Meta:
        model = Case
        fields = ("on", "starts_at", "room", "procedures", "teeth", "patient", "clinician", "state", "code")
        order_by = "on"
        empty_text = "No case fits"

    def render_on(self, value):
        """The day with its weekday."""
        return near_day(value)

    def render_procedures(self, record):
        """What is done, and the way to the case."""
        url = reverse("case", args=[record.code])
        return format_html('<a href="{}">{}</a>', url, procedures_in_words(record) or "no procedure")

    def render_teeth(self, record):
        """Tooth sites as the clinic numbers them."""
        notation = record.clinic.tooth_notation
        tiles = [
            (
                render_to_string(
                    "ui/tooth.html", {"tooth": show(site.tooth, notation), "spoken": spoken(site.tooth)}
                ),
            )
            for site in record.sites.all()
        ]
        return (
            format_html('<span class="teeth">{}</span>', format_html_join("", "{}", tiles)) if tiles else "–"
        )

    def render_patient(self, value):
        """The chart number, and the way to the patient."""
        return format_html(
            '<a href="{}">{}</a>', reverse("patient", args=[value.chart_number]), value.chart_number
        )

    def render_state(self, value, record):
        """The state as word and shape."""
        return _status(record.state, record.get_state_display().capitalize())


class PatientTable(tables.Table):
    """Patients with their last and next surgery."""

    chart_number = tables.Column(verbose_name="Chart", attrs=_MONO)
    name = tables.Column(verbose_name="Name", default="–", orderable=False)
    born_in = tables.Column(verbose_name="Born", default="–", attrs=_NUMBER)
    last_on = tables.DateColumn(verbose_name="Last surgery", format="j M Y", default="–", attrs=_DATE)
    next_on = tables.DateColumn(verbose_name="Next", format="j M Y", default="–", attrs=_DATE)
    case_count = tables.Column(verbose_name="Cases", attrs=_NUMBER)
    declines = tables.Column(verbose_name="Declines", empty_values=(), orderable=False, attrs=_LOW)

    caption = "Patients"
    noun = "patients"

    class Meta:
        model = Patient
        fields = ("chart_number", "name", "born_in", "last_on", "next_on", "case_count", "declines")
        order_by = "chart_number"
        empty_text = "No patient fits"

    def render_chart_number(self, value):
        """The chart number, and the way to the patient."""
        return format_html('<a href="{}">{}</a>', reverse("patient", args=[value]), value)

    def render_born_in(self, value):
        """A year has no thousands sign."""
        return str(value)

    def render_declines(self, record):
        """Origins the patient declines, in words."""
        if record.consent_asked_on is None and not record.declined_origins:
            return "not asked yet"
        return ", ".join(sorted(record.declined_origins)) or "nothing"
