"""The admin shows and never changes, not even for a superuser."""

import pytest
from django.contrib import admin
from django.urls import reverse

from practice.models import User
from stock.models import Item


@pytest.fixture
def client_of_all(cast, client):
    everything = User.objects.create_superuser("root-of-all", password="seven-silver-spoons")
    client.force_login(everything, backend="django.contrib.auth.backends.ModelBackend")
    return client


OURS = [model for model in admin.site._registry if model._meta.app_label in {"practice", "stock", "kits"}]


@pytest.mark.parametrize("model", OURS, ids=lambda model: model.__name__)
def test_every_page_of_ours_is_for_looking_only(client_of_all, model):
    name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
    assert client_of_all.get(reverse(f"{name}_changelist")).status_code == 200
    assert client_of_all.get(reverse(f"{name}_add")).status_code == 403


def test_a_row_can_be_seen_and_not_saved_or_deleted(client_of_all, cast):
    url = reverse("admin:stock_item_change", args=[cast.implant.pk])
    assert client_of_all.get(url).status_code == 200
    assert client_of_all.post(url, {"name": "Other"}).status_code == 403
    assert client_of_all.post(reverse("admin:stock_item_delete", args=[cast.implant.pk])).status_code == 403
    assert Item.objects.get(pk=cast.implant.pk).name == cast.implant.name


def test_nobody_of_the_cast_reaches_the_admin(cast, sign_in):
    assert sign_in(cast.administrator).get(reverse("admin:index")).status_code == 302


def test_ledger_lots_cases_and_audit_are_there():
    assert {"Entry", "Lot", "Case", "AuditEntry"} <= {model.__name__ for model in OURS}
