"""App configuration of the stock layer."""

from django.apps import AppConfig


class StockConfig(AppConfig):
    """Catalogue, lots, ledger, orders."""

    name = "stock"
    default_auto_field = "django.db.models.BigAutoField"
