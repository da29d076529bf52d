"""The demo stays away from every database that is not its own."""

import datetime as dt

import pytest
from django.core.management import CommandError, call_command

from kits.demo.build import NotTheDemo, TooShort, Wish, build, built
from kits.demo.emptying import empty
from practice.models import User
from stock.models import Entry, Item

TODAY = dt.date(2026, 5, 12)


def test_an_empty_database_holds_no_demo(db):
    assert built() is None


def test_it_stays_away_from_another_practice(cast):
    rows = Entry.objects.count(), User.objects.count()
    for fresh in (False, True):
        with pytest.raises(CommandError, match="This database holds Thackerfold .* nothing is taken away"):
            call_command("demo", no_serve=True, today=TODAY, fresh=fresh)
    for harm in (lambda: build(Wish(TODAY)), empty):
        with pytest.raises(NotTheDemo):
            harm()
    assert (Entry.objects.count(), User.objects.count()) == rows


def test_a_catalogue_alone_is_somebody_s_data(db):
    Item.objects.create(code="X", name="X", category="Others")
    with pytest.raises(NotTheDemo, match="records of somebody"):
        built()


def test_an_empty_database_is_not_emptied(db):
    with pytest.raises(NotTheDemo):
        empty()


def test_a_history_too_short_for_the_stories_is_refused(db):
    with pytest.raises(TooShort, match="at least 4 weeks"):
        Wish(TODAY, weeks=3)
    with pytest.raises(CommandError, match="at least 4 weeks"):
        call_command("demo", no_serve=True, today=TODAY, weeks=3)
