"""The admin of the stock layer: to look at ledger, lots and orders, never to change them."""

from django.contrib import admin

from practice.admin import ReadOnlyAdmin
from stock.models import Balance, Entry, Item, Lot, Order, OrderLine, Place, Supplier, SupplierItem


@admin.register(Entry)
class EntryAdmin(ReadOnlyAdmin):
    """The ledger."""

    list_display = ("clinic", "sequence", "kind", "quantity", "lot", "place", "source", "at", "by")
    list_select_related = ("clinic", "lot__item", "place", "by")
    list_filter = ("kind", "clinic")
    search_fields = ("source", "lot__lot_number", "lot__serial", "lot__item__code")


@admin.register(Lot)
class LotAdmin(ReadOnlyAdmin):
    """Lots and single units."""

    list_display = ("item", "lot_number", "serial", "donor_id", "expires_on", "decision")
    list_select_related = ("item",)
    list_filter = ("decision",)
    search_fields = ("lot_number", "serial", "donor_id", "item__code")


@admin.register(Item)
class ItemAdmin(ReadOnlyAdmin):
    """The catalogue."""

    list_display = ("code", "name", "category", "tracking", "criticality", "supply_mode")
    list_filter = ("category", "tracking", "criticality")
    search_fields = ("code", "name")


class OrderLineInline(admin.TabularInline):
    """Lines of an order."""

    model = OrderLine
    extra = 0
    can_delete = False

    def has_add_permission(self, request, obj=None):
        """Never."""
        return False

    def has_change_permission(self, request, obj=None):
        """Never."""
        return False


@admin.register(Order)
class OrderAdmin(ReadOnlyAdmin):
    """Orders with their lines."""

    list_display = ("number", "clinic", "supplier", "state", "created_at")
    list_select_related = ("clinic", "supplier")
    list_filter = ("state", "clinic")
    inlines = (OrderLineInline,)


admin.site.register((Balance, Place, Supplier, SupplierItem), ReadOnlyAdmin)
