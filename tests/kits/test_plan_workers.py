"""Planning by a real worker that takes tasks from a broker: Redis where the run has one, else in memory."""

import time

import pytest
from celery.contrib.testing.worker import start_worker
from django.db import transaction

from kits.tasks import plan_all_clinics
from practice.celery import app
from practice.models import Clinic
from stock.models import ItemForecast
from tests import builders
from tests.builders import TODAY
from tests.kits.builders_plan import case, day, procedure, stock
from tests.kits.builders_tasks import tasks_run_here

# The worker has a connection of its own and sees only what is written for good.
pytestmark = pytest.mark.django_db(transaction=True)
# Longest wait for the worker (unit: seconds); a plan of this size takes well under one.
PATIENCE = 30


@pytest.fixture
def cast(transactional_db):
    return builders.cast()


@pytest.fixture
def worker(transactional_db):
    """A worker in a thread."""
    with tasks_run_here(False), start_worker(app, pool="solo", perform_ping_check=False):
        yield


@transaction.atomic
def book(cast):
    """One sheet on the shelf and a case that needs it."""
    stock(cast, cast.membrane, 1)
    case(cast, procedure("GR", (cast.membrane, 1, None)), day(2))


def planned(clinics) -> set[str]:
    """Codes of the clinics that have a plan, once all of these have one or patience ends."""
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        found = set(ItemForecast.objects.values_list("clinic__code", flat=True))
        if found >= clinics:
            return found
        time.sleep(0.05)
    return found


def test_every_clinic_is_planned_by_the_worker(cast, worker):
    book(cast)
    assert plan_all_clinics(TODAY.isoformat()) == 2
    assert planned({"A", "B"}) == {"A", "B"}


def test_one_clinics_failure_leaves_the_others_their_plan(cast, worker):
    # No open day: this clinic's case can be planned on none.
    Clinic.objects.filter(pk=cast.clinic.pk).update(open_weekdays="0000000")
    book(cast)
    assert plan_all_clinics(TODAY.isoformat()) == 2
    assert planned({"B"}) == {"B"}
