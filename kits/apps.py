"""App configuration of the kits layer."""

from django.apps import AppConfig


class KitsConfig(AppConfig):
    """Procedures, bills of materials, cases, trays."""

    name = "kits"
    default_auto_field = "django.db.models.BigAutoField"
