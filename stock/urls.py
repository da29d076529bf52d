"""Addresses of the stock layer."""

from django.urls import path, register_converter

from stock.views import decisions, handling, orders, places, receiving


class OrderNumber:
    """An order's number: it holds a digit, which no word of an address does."""

    regex = "[^/]*[0-9][^/]*"

    def to_python(self, value):
        """As written."""
        return value

    def to_url(self, value):
        """As written."""
        return str(value)


register_converter(OrderNumber, "order_number")

urlpatterns = [
    path("stock/receive/", receiving.stock_receive, name="stock_receive"),
    path("stock/move/", handling.stock_move, name="stock_move"),
    path("stock/use/", handling.stock_use, name="stock_use"),
    path("stock/write-off/", handling.stock_waste, name="stock_waste"),
    path("stock/count/", handling.stock_count, name="stock_count"),
    path("stock/entries/<int:entry_id>/correct/", decisions.entry_correct, name="entry_correct"),
    path("stock/places/", places.places, name="places"),
    path("stock/places/<int:place_id>/", places.place, name="place"),
    path("lots/<int:lot_id>/hold/", decisions.lot_hold, name="lot_hold"),
    path("lots/<int:lot_id>/recall/", decisions.lot_recall, name="lot_recall"),
    path("lots/<int:lot_id>/release/", decisions.lot_release, name="lot_release"),
    path("orders/", orders.orders, name="orders"),
    path("orders/<order_number:order_number>/", orders.order, name="order"),
    path("orders/<order_number:order_number>/sheet/", orders.order_sheet, name="order_sheet"),
    path("orders/<order_number:order_number>/xlsx/", orders.order_workbook, name="order_workbook"),
    path("orders/<order_number:order_number>/approve/", orders.order_approve, name="order_approve"),
    path("orders/<order_number:order_number>/send/", orders.order_send, name="order_send"),
    path("orders/<order_number:order_number>/cancel/", orders.order_cancel, name="order_cancel"),
]
