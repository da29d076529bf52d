"""Models of the stock layer. Inside: catalogue ← lots ← ledger ← orders ← forecasts."""

from stock.models.catalogue import ClinicItem, Item, ItemCode, PriceBreak, Supplier, SupplierItem
from stock.models.forecasts import ItemForecast
from stock.models.ledger import Balance, ChainHead, Entry
from stock.models.lots import Lot, Place
from stock.models.orders import Order, OrderLine, Proposal

__all__ = [
    "Balance",
    "ChainHead",
    "ClinicItem",
    "Entry",
    "Item",
    "ItemCode",
    "ItemForecast",
    "Lot",
    "Order",
    "OrderLine",
    "Place",
    "PriceBreak",
    "Proposal",
    "Supplier",
    "SupplierItem",
]
