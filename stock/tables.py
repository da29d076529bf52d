"""Tables of the stock pages."""

import django_tables2 as tables
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.html import format_html

from practice.templatetags.ui import day, money, near_day, quantity
from stock.lot_standing import standing_of
from stock.models import Order

NUMBER = {"th": {"class": "number"}, "td": {"class": "number"}}
LOW_NUMBER = {"th": {"class": "number low"}, "td": {"class": "number low"}}
LOW = {"th": {"class": "low"}, "td": {"class": "low"}}
DATE = {"td": {"class": "date"}}
STATUS = (
    '<span class="nowrap">{% include "ui/status.html" with state=value.state word=value.word only %}</span>'
)


class ItemTable(tables.Table):
    """Items of a clinic and how they stand; rows are kits.item_list.ItemRow or look like it."""

    name = tables.Column(verbose_name="Item", order_by=("name", "code"))
    category = tables.Column(verbose_name="Category", attrs=LOW)
    usable = tables.Column(verbose_name="In date", attrs=NUMBER)
    expected_use_30d = tables.Column(verbose_name="Use, 30 days", attrs=NUMBER)
    covered_until = tables.Column(verbose_name="Covered until", attrs=DATE)
    order_by = tables.Column(verbose_name="Order by", attrs=DATE, accessor="order_by_on")
    status = tables.TemplateColumn(STATUS, verbose_name="Standing", order_by=("rank", "order_by_key"))

    caption = "Items of this clinic and how they stand"
    noun = "items"

    class Meta:
        fields = (
            *("name", "category", "usable", "expected_use_30d"),
            *("covered_until", "order_by", "status"),
        )
        order_by = "status"
        empty_text = "No item fits"

    def render_name(self, value, record):
        """The name, leading to the item, with its code under it."""
        return format_html(
            '<a href="{}">{}</a><br><span class="mono quiet">{}</span>',
            reverse("item", args=[record.code]),
            value,
            record.code,
        )

    def render_usable(self, value, record):
        """Units in date of those at hand, and the same in packs."""
        of = format_html(' <span class="quiet">of {}</span>', quantity(record.on_hand))
        packs = format_html('<br><span class="small quiet">{}</span>', record.packs)
        return format_html(
            "{}{}{}",
            quantity(value),
            of if record.on_hand != value else "",
            packs if record.packs and value else "",
        )

    def render_expected_use_30d(self, value):
        """Expected units, one decimal."""
        return f"{value:.1f}"

    def render_covered_until(self, value):
        """The day, with its weekday."""
        return near_day(value)

    def render_order_by(self, value):
        """The day, with its weekday."""
        return near_day(value)


class OrderTable(tables.Table):
    """Orders of a clinic, newest first."""

    number = tables.Column(verbose_name="Order")
    supplier = tables.Column(verbose_name="Supplier", order_by="supplier__name")
    lines_number = tables.Column(verbose_name="Lines", attrs=LOW_NUMBER)
    price = tables.Column(verbose_name="Price", attrs=NUMBER)
    created_at = tables.DateTimeColumn(verbose_name="Made", format="j M Y", attrs=DATE)
    expected_on = tables.Column(verbose_name="Expected", attrs=DATE, default="–")
    state = tables.TemplateColumn(
        '{% include "ui/status.html" with state=record.shape word=record.get_state_display only %}',
        verbose_name="State",
        order_by="state",
    )

    caption = "Orders, newest first"
    noun = "orders"

    class Meta:
        model = Order
        fields = ("number", "supplier", "lines_number", "price", "created_at", "expected_on", "state")
        order_by = "-number"
        empty_text = "No order fits"

    def render_number(self, value):
        """The number, leading to the order."""
        return format_html('<a class="mono nowrap" href="{}">{}</a>', reverse("order", args=[value]), value)

    def render_price(self, value):
        """With two decimals."""
        return money(value)

    def render_expected_on(self, value):
        """The day the last line is expected."""
        return day(value)


class PlaceStockTable(tables.Table):
    """What lies at one place."""

    item = tables.Column(verbose_name="Item", accessor="lot__item__name", order_by=("lot__item__name",))
    lot = tables.Column(
        verbose_name="Lot", accessor="lot__shown", order_by=("lot__serial", "lot__lot_number")
    )
    expires_on = tables.Column(verbose_name="Expires", accessor="lot__expires_on", attrs=DATE)
    quantity = tables.Column(verbose_name="Units", attrs=NUMBER)
    standing = tables.Column(verbose_name="Standing", empty_values=(), orderable=False)

    caption = "Lots at this place"
    noun = "lots"

    class Meta:
        fields = ("item", "lot", "expires_on", "quantity", "standing")
        order_by = "expires_on"
        empty_text = "Nothing lies here that fits"

    def __init__(self, *args, today, **kwargs):
        """``today``: the day the standing is judged on."""
        super().__init__(*args, **kwargs)
        self.today = today

    def render_standing(self, record):
        """How the lot stands today."""
        found = standing_of(record.lot, today=self.today)
        return render_to_string("ui/status.html", {"state": found.state, "word": found.word})

    def render_item(self, value, record):
        """The name, leading to the item, with its code under it."""
        item = record.lot.item
        return format_html(
            '<a href="{}">{}</a><br><span class="mono quiet">{}</span>',
            reverse("item", args=[item.code]),
            value,
            item.code,
        )

    def render_lot(self, value, record):
        """The number, leading to the lot."""
        return format_html('<a class="mono" href="{}">{}</a>', reverse("lot", args=[record.lot_id]), value)

    def render_expires_on(self, value):
        """The day with its year."""
        return day(value)
