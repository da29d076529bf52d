"""Addresses of the stock and order pages that need to know why."""

from django.urls import path

from kits.views import finding_lots, item_history, reorders, stock_pages

stock_page_urls: list = [
    path("stock/", stock_pages.items, name="items"),
    path("stock/items/<path:item_code>/movements/", item_history.item_moves, name="item_moves"),
    path("stock/items/<path:item_code>/patients/", item_history.item_patients, name="item_patients"),
    path("stock/items/<path:item_code>/", stock_pages.item, name="item"),
    path("find/", finding_lots.find_lot, name="find_lot"),
    path("lots/<int:lot_id>/", finding_lots.lot, name="lot"),
    path("orders/reorders/", reorders.reorders, name="reorders"),
    path("orders/reorders/sums/", reorders.reorders_sums, name="reorders_sums"),
    path("orders/reorders/approve/", reorders.reorders_approve, name="reorders_approve"),
]
