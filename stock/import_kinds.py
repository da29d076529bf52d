"""The files that the stock layer takes in, as the import pages show them."""

from practice.import_kinds import DAY_ORDER, DECIMAL, ImportKind, Question, counted
from stock.importing_catalogue import import_catalogue
from stock.importing_prices import import_prices
from stock.importing_stock import import_stock
from stock.models import Balance, Item, Supplier, SupplierItem


def _item_codes(clinic) -> list[tuple[str, str]]:
    return [(item.code, f"{item.code} {item.name}") for item in Item.objects.active().stocked()]


def _suppliers() -> list[tuple[str, str]]:
    return [("", "Choose"), *((str(supplier.pk), supplier.name) for supplier in Supplier.objects.all())]


def _catalogue(data, filename, clinic, options, declared):
    return import_catalogue(data, filename=filename, options=options)


def _stock(data, filename, clinic, options, declared):
    return import_stock(data, filename=filename, clinic=clinic, options=options)


def _prices(data, filename, clinic, options, declared):
    supplier = Supplier.objects.get(pk=declared["supplier"])
    return import_prices(data, filename=filename, supplier=supplier, options=options)


def _items_there(clinic, today) -> str:
    return counted(Item.objects.active().count(), "item", "items")


def _lots_there(clinic, today) -> str:
    lots = Balance.objects.filter(place__clinic=clinic, quantity__gt=0).values("lot").distinct()
    return counted(lots.count(), "lot or unit in stock", "lots and units in stock")


def _prices_there(clinic, today) -> str:
    return counted(SupplierItem.objects.filter(pack_price__gt=0).count(), "price", "prices")


CATALOGUE = ImportKind(
    slug="catalogue",
    title="Catalogue",
    sentence="What can be kept: items, sizes, tracking, suppliers and packs.",
    accepts=".csv,.xlsx,.xls,.ods",
    run=_catalogue,
    there=_items_there,
    columns="An item code, a name and a category; best also unit, tracking, supplier and price.",
)
STOCK = ImportKind(
    slug="stock",
    title="Stock count",
    sentence="What lies where: each counted lot becomes opening stock of this clinic.",
    accepts=".csv,.xlsx,.xls,.ods",
    run=_stock,
    there=_lots_there,
    columns="An item code, a place, a quantity; lot, serial number and expiry where the label has them.",
    meanings=_item_codes,
    questions=(DAY_ORDER,),
)
PRICES = ImportKind(
    slug="prices",
    title="Price list",
    sentence="A supplier's packs, prices, smallest orders and lead times.",
    accepts=".csv,.xlsx,.xls,.ods",
    run=_prices,
    there=_prices_there,
    columns="The supplier's article code, or ours, and a price; the pack size and the lead time where given.",
    meanings=_item_codes,
    questions=(Question("supplier", "Supplier", _suppliers, is_required=True), DECIMAL),
)
IMPORT_KINDS = (CATALOGUE, STOCK, PRICES)
