"""The Celery application; without REDIS_URL its tasks run in the request."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "practice.settings")
app = Celery("practice")
# For every thread: a server's worker threads would otherwise publish through an app without settings.
app.set_default()
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
