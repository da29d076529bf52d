"""Tables of the practice pages."""

import django_tables2 as tables

from practice import audit
from practice.models import AuditEntry


class AuditTable(tables.Table):
    """The audit: who did what, when, where."""

    at = tables.DateTimeColumn(verbose_name="When", format="j M Y, H:i")
    by = tables.Column(verbose_name="Who", default="The system", order_by="by__display_name")
    said = tables.Column(verbose_name="What", empty_values=(), orderable=False)
    clinic = tables.Column(
        verbose_name="Clinic", default="all", attrs={"th": {"class": "low"}, "td": {"class": "low"}}
    )
    action = tables.Column(verbose_name="Action", attrs={"th": {"class": "low"}, "td": {"class": "low mono"}})

    caption = "Audit, newest first"
    noun = "entries"

    class Meta:
        model = AuditEntry
        fields = ("at", "by", "said", "clinic", "action")
        order_by = "-at"
        empty_text = "Nothing was done yet that fits"

    def render_said(self, record):
        """What was done; who did it stands in its own column."""
        words = audit.deed(record)
        return words[:1].upper() + words[1:]
