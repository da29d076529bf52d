"""The admin of the practice layer: to look, never to change. Changes go through verbs and their pages."""

from django.contrib import admin

from practice.models import AuditEntry, Clinic, Closure, Policy, Role, Room


class ReadOnlyAdmin(admin.ModelAdmin):
    """An admin page that shows rows and lets nobody add, change or delete one."""

    actions = None

    def has_add_permission(self, request, obj=None):
        """Never."""
        return False

    def has_change_permission(self, request, obj=None):
        """Never."""
        return False

    def has_delete_permission(self, request, obj=None):
        """Never."""
        return False


@admin.register(AuditEntry)
class AuditEntryAdmin(ReadOnlyAdmin):
    """The audit."""

    list_display = ("at", "by", "action", "subject", "clinic")
    list_select_related = ("by", "clinic")
    list_filter = ("action", "clinic")
    search_fields = ("subject",)


@admin.register(Clinic)
class ClinicAdmin(ReadOnlyAdmin):
    """Clinics."""

    list_display = ("name", "code", "time_zone", "tooth_notation", "open_weekdays")


@admin.register(Role)
class RoleAdmin(ReadOnlyAdmin):
    """Who does what where."""

    list_display = ("user", "clinic", "kind")
    list_select_related = ("user", "clinic")
    list_filter = ("clinic", "kind")


admin.site.register((Closure, Policy, Room), ReadOnlyAdmin)
