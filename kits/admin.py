"""The admin of the kits layer: to look at procedures, bills, cases and trays, never to change them."""

from django.contrib import admin

from kits.models import BomLine, BomVersion, Case, CaseSite, Finding, Procedure, TrayLine, TrayUnit
from practice.admin import ReadOnlyAdmin


@admin.register(Case)
class CaseAdmin(ReadOnlyAdmin):
    """Cases."""

    list_display = ("code", "on", "clinic", "patient", "room", "clinician", "state")
    list_select_related = ("clinic", "patient", "room", "clinician")
    list_filter = ("state", "clinic")
    search_fields = ("code", "patient__chart_number")


@admin.register(TrayUnit)
class TrayUnitAdmin(ReadOnlyAdmin):
    """What lay on which tray and what became of it."""

    list_display = ("line", "lot", "quantity", "outcome", "decided_at")
    list_select_related = ("line__case", "lot__item")
    list_filter = ("outcome",)


@admin.register(BomVersion)
class BomVersionAdmin(ReadOnlyAdmin):
    """Versions of bills of materials."""

    list_display = ("procedure", "number", "state", "created_at")
    list_select_related = ("procedure",)
    list_filter = ("state",)


admin.site.register((BomLine, CaseSite, Finding, Procedure, TrayLine), ReadOnlyAdmin)
