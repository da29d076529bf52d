"""Forms of the stock pages: they clean what people type or scan, nothing else."""

from django import forms

from stock import item_status
from stock.models import Entry, Item, Lot, Order, OrderLine, Place, Supplier

# Reasons a person may give on the shelf; the others belong to a case, a recall or a correction.
SHELF_REASONS = (
    Entry.Reason.EXPIRED,
    Entry.Reason.DAMAGED,
    Entry.Reason.TEMPERATURE,
    Entry.Reason.DROPPED,
    Entry.Reason.RECALL,
)


def day_field(**facts) -> forms.DateField:
    """A day, with the calendar of the browser."""
    return forms.DateField(widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"), **facts)


class PlaceChoice(forms.ModelChoiceField):
    """A place, named with its clinic and what lies there where that is known."""

    quantities: dict[int, int] = {}
    clinic = None

    def label_from_instance(self, place):
        """Words of one choice; the clinic is named where it is another than the present one."""
        name = str(place) if self.clinic in (None, place.clinic) else f"{place}, {place.clinic}"
        units = self.quantities.get(place.pk)
        return name if units is None else f"{name}: {units} there"


class ItemFilterForm(forms.Form):
    """Which items to list."""

    category = forms.ChoiceField(label="Category", required=False)
    criticality = forms.ChoiceField(
        label="Without it", choices=[("", "Anything"), *Item.Criticality.choices], required=False
    )
    status = forms.ChoiceField(label="Standing", choices=[("", "Any"), *item_status.CHOICES], required=False)

    def __init__(self, *args, categories=(), **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["category"].choices = [("", "All"), *((name, name) for name in categories)]


class OrderFilterForm(forms.Form):
    """Which orders to list."""

    state = forms.ChoiceField(label="State", choices=[("", "Any"), *Order.State.choices], required=False)
    supplier = forms.ModelChoiceField(
        label="Supplier", queryset=Supplier.objects.all(), empty_label="All", required=False
    )


class HandleForm(forms.Form):
    """Units of one lot at one place."""

    lot = forms.ModelChoiceField(queryset=Lot.objects.none(), widget=forms.HiddenInput)
    key = forms.CharField(max_length=60, widget=forms.HiddenInput)
    place = PlaceChoice(label="From", queryset=Place.objects.none(), empty_label=None)
    quantity = forms.IntegerField(label="Units", min_value=1, initial=1)

    def __init__(self, *args, lots, places, quantities, clinic=None, targets=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["lot"].queryset = lots
        self.fields["place"].queryset = places
        self.fields["place"].quantities = quantities
        self.fields["place"].clinic = clinic
        if "to_place" in self.fields:
            self.fields["to_place"].queryset = targets
            self.fields["to_place"].clinic = clinic


class MoveForm(HandleForm):
    """Where to move them."""

    to_place = PlaceChoice(label="To", queryset=Place.objects.none(), empty_label="Choose a place")
    note = forms.CharField(label="Note", max_length=200, required=False)
    field_order = ("lot", "key", "place", "to_place", "quantity", "note")


class UseForm(HandleForm):
    """What they were used for."""

    note = forms.CharField(
        label="Used for", max_length=200, help_text="Use in surgery is recorded with its case instead."
    )


class WasteForm(HandleForm):
    """Why they are wasted."""

    reason = forms.ChoiceField(
        label="Why", choices=[("", "Choose"), *((reason.value, reason.label) for reason in SHELF_REASONS)]
    )
    note = forms.CharField(label="Note", max_length=200, required=False)


class CountForm(HandleForm):
    """What was counted; what is recorded is not shown, so that the count is honest."""

    quantity = forms.IntegerField(label="Counted units", min_value=0)
    note = forms.CharField(
        label="Note",
        max_length=200,
        required=False,
        help_text="For human tissue: what was found, and whom you told.",
    )

    def __init__(self, *args, quantities, **kwargs):
        super().__init__(*args, quantities={}, **kwargs)


class CorrectionForm(forms.Form):
    """Why an entry was wrong."""

    note = forms.CharField(label="Why was it wrong?", max_length=200)


class ReasonForm(forms.Form):
    """Why a lot is held or released."""

    reason = forms.CharField(label="Why", max_length=160)


class LineChoice(forms.ModelChoiceField):
    """An order line that goods may arrive on."""

    def label_from_instance(self, line):
        """Words of one choice."""
        left = line.units - line.units_received
        return f"{line.order}: {line.supplier_item.item.name}, {left} to come"


class ReceiveForm(forms.Form):
    """What arrived, as its label says."""

    key = forms.CharField(max_length=60, widget=forms.HiddenInput)
    label_as_scanned = forms.CharField(max_length=400, required=False, widget=forms.HiddenInput)
    item = forms.ModelChoiceField(
        label="Item",
        queryset=Item.objects.none(),
        to_field_name="code",
        widget=forms.TextInput(attrs={"list": "item-codes", "autocomplete": "off", "spellcheck": "false"}),
        error_messages={"invalid_choice": "No item has this code. Choose one from the list."},
    )
    order_line = LineChoice(
        label="Against",
        queryset=OrderLine.objects.none(),
        empty_label="No order: a delivery of its own",
        required=False,
    )
    lot_number = forms.CharField(label="Lot", max_length=40, required=False)
    serial = forms.CharField(label="Serial or tissue unit", max_length=40, required=False)
    donor_id = forms.CharField(label="Donor", max_length=40, required=False)
    expires_on = day_field(label="Expires on", required=False)
    quantity = forms.IntegerField(label="Units", min_value=1, initial=1)
    place = PlaceChoice(label="Into", queryset=Place.objects.none(), empty_label=None)
    temperature_c = forms.DecimalField(
        label="Temperature on arrival, °C", max_digits=4, decimal_places=1, required=False
    )
    package_intact = forms.TypedChoiceField(
        label="Package intact",
        choices=[("", "Not looked at"), ("yes", "Yes"), ("no", "No")],
        coerce=lambda word: word == "yes",
        empty_value=None,
        required=False,
    )
    note = forms.CharField(label="Note", max_length=200, required=False)

    def __init__(self, *args, items, places, lines, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["item"].queryset = items
        self.fields["place"].queryset = places
        self.fields["order_line"].queryset = lines

    def clean_label_as_scanned(self):
        """As much of the label as is kept."""
        return self.cleaned_data["label_as_scanned"][:200]
