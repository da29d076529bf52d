"""App configuration of the practice layer."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class PracticeConfig(AppConfig):
    """Clinics, people, patients, policy, audit."""

    name = "practice"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self):
        """Register checks and the Celery app, and the handler that keeps append-only triggers in place."""
        from practice import append_only, celery, checks  # noqa: F401, PLC0415

        post_migrate.connect(append_only.install_all, dispatch_uid="append-only-triggers")
