"""What every test may use: the standing cast, a flush that gets past the triggers, and a browser."""

import shutil
from pathlib import Path

import pytest
from django.conf import settings
from django.db import DataError
from django.db.backends.base.operations import BaseDatabaseOperations
from django.db.models import CharField
from hypothesis import HealthCheck
from hypothesis import settings as properties
from playwright.sync_api import sync_playwright

from practice import clock
from tests import builders
from tests.append_only_off import triggers_off

CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

# How long one example takes says how busy the machine is, not whether the property holds.
properties.register_profile("suite", deadline=None, suppress_health_check=[HealthCheck.too_slow])
properties.load_profile("suite")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Mark what drives the browser, so that a machine without one can choose the rest."""
    for item in items:
        if "browser" in item.fixturenames:
            item.add_marker("browser")


@pytest.fixture(scope="session", autouse=True)
def _flush_past_the_triggers():
    """Let the flush after a test with real transactions empty the append-only tables."""
    flush = BaseDatabaseOperations.execute_sql_flush

    def execute_sql_flush(self, sql_list):
        with triggers_off(using=self.connection.alias):
            return flush(self, sql_list)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(BaseDatabaseOperations, "execute_sql_flush", execute_sql_flush)
        yield


@pytest.fixture(scope="session", autouse=True)
def _texts_fit_their_columns():
    """Refuse a text longer than its column on SQLite too, as PostgreSQL does in the practice."""
    prepare = CharField.get_db_prep_save

    def get_db_prep_save(self, value, connection):
        if isinstance(value, str) and self.max_length and len(value) > self.max_length:
            raise DataError(f"{self} holds {self.max_length} characters, not {len(value)}: {value!r}")
        return prepare(self, value, connection)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(CharField, "get_db_prep_save", get_db_prep_save)
        yield


@pytest.fixture
def cast(db) -> builders.Cast:
    """The standing cast: one practice, two clinics, people with roles, suppliers, items and places."""
    return builders.cast()


@pytest.fixture
def the_day(monkeypatch):
    """Let pages believe that it is builders.TODAY, so that what the builders make stays in date."""
    monkeypatch.setattr(clock, "now", lambda: builders.NOW)
    monkeypatch.setattr(clock, "today", lambda *, clinic=None: builders.TODAY)
    return builders.TODAY


@pytest.fixture
def sign_in(client):
    """Return a function that signs a person in on the test client, at the clinic given or their first."""

    def enter(user, *, clinic=None):
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        if clinic is not None:
            session = client.session
            session["clinic"] = clinic.pk
            session.save()
        return client

    return enter


@pytest.fixture(scope="session")
def browser():
    """Debian's Chromium, driven by Playwright; fails plainly where there is none."""
    path = shutil.which("chromium") or "/usr/bin/chromium"
    if not Path(path).exists():
        pytest.fail("Chromium is missing. On Debian: apt-get install chromium. Or choose -m 'not browser'.")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=CHROMIUM_ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture
def page(browser, live_server):
    """A page on the live server; the test fails when the content policy was broken or a script threw."""
    context = browser.new_context(base_url=live_server.url, viewport={"width": 1180, "height": 820})
    opened = context.new_page()
    heard: list[str] = []
    opened.on("console", lambda message: heard.append(f"{message.type}: {message.text}"))
    opened.on("pageerror", lambda error: heard.append(f"pageerror: {error}"))
    yield opened
    context.close()
    faults = [line for line in heard if "Content Security" in line or line.startswith("pageerror")]
    assert not faults, faults


@pytest.fixture
def signed_in_page(page, client, live_server):
    """Return a function that signs a person in without typing and gives back the page."""

    def enter(user):
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        cookie = client.cookies[settings.SESSION_COOKIE_NAME].value
        page.context.add_cookies(
            [{"name": settings.SESSION_COOKIE_NAME, "value": cookie, "url": live_server.url}]
        )
        return page

    return enter
