"""Time the pages people open all day on the demo practice, with the statements each sends.

Run: python -m bench.pages [--weeks 52]

Each page is asked for through the whole stack (middleware, session, view, template) by the person who
uses it. Beside it stands the bare SQL of the same page: the very statements it read with, sent again with
nothing around them. The ratio does not hang on the machine; the milliseconds do. All times are processor
time of the one process, database included (SQLite runs in it). A scan is posted as the tray page posts it and
rolled back afterwards, so that the wait for the disk at the end of its transaction is not in its time.
"""

import argparse
from dataclasses import dataclass

from django.db import transaction
from django.test import Client
from django.urls import reverse

from bench._practice import bare, build_demo, listening, seconds
from kits.models import Case
from kits.pick_lists import pick_list
from kits.replanning import replan
from kits.tray import begin
from practice import clock
from practice.models import Clinic, Role, User
from stock.models import Entry, Item, ItemForecast


@dataclass(frozen=True)
class Page:
    """A page as people call it, the role that opens it, and its address."""

    words: str
    role: str
    address: str


def pages(clinic: Clinic) -> list[Page]:
    """The pages measured, with the busiest rows of the demo behind them."""
    today = clock.today(clinic=clinic)
    case = Case.objects.open().filter(clinic=clinic, on__gte=today).order_by("starts_at")[0]
    begun = (Case.State.SET_OUT, Case.State.IN_SURGERY)
    closing = Case.objects.filter(clinic=clinic, state__in=begun).order_by("-on", "starts_at")[0]
    used = ItemForecast.objects.filter(clinic=clinic).order_by("-expected_use_30d").first()
    item = used.item if used else Item.objects.first()
    patient = Case.objects.filter(clinic=clinic, state=Case.State.CLOSED).order_by("-on")[0].patient
    assistant, manager, clinician = Role.Kind.ASSISTANT, Role.Kind.MANAGER, Role.Kind.CLINICIAN
    return [
        Page("Sign-in", "", reverse("sign_in")),
        Page("Today", assistant, reverse("today")),
        Page("Gather the day", assistant, reverse("gather")),
        Page("Pick list of a case", assistant, reverse("pick_list", args=[case.code])),
        Page("Close a case", assistant, reverse("case_close", args=[closing.code])),
        Page("Cases", assistant, reverse("cases")),
        Page("A case", clinician, reverse("case", args=[case.code])),
        Page("Items", manager, reverse("items")),
        Page("An item with its chart", manager, reverse("item", args=[item.code])),
        Page("Reorders", manager, reverse("reorders")),
        Page("Orders", manager, reverse("orders")),
        Page("Patients", clinician, reverse("patients")),
        Page("Materials of a patient", clinician, reverse("patient", args=[patient.chart_number])),
        Page("Find a lot", clinician, reverse("find_lot")),
    ]


def client_of(clinic: Clinic, role: str) -> Client:
    """A signed-in client of a person with that role at the clinic; nobody for the sign-in page."""
    client = Client(SERVER_NAME="localhost")
    if role:
        person = User.objects.filter(roles__clinic=clinic, roles__kind=role, is_active=True).first()
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        session = client.session
        session["clinic"] = clinic.pk
        session.save()
    return client


class NotShown(Exception):
    """A page did not answer as it does for people."""


def measured(clinic: Clinic, page: Page) -> tuple[int, float, float]:
    """Statements, seconds of the page, and seconds of its bare SQL; raises NotShown."""
    client = client_of(clinic, page.role)

    def ask():
        answer = client.get(page.address)
        if answer.status_code != 200:
            raise NotShown(f"{page.words} at {page.address} answered {answer.status_code}.")

    ask()
    with listening() as statements:
        ask()
    least = seconds(bare(list(statements))) if statements else 0.0
    return len(statements), seconds(ask), least


def unit_to_scan(clinic: Clinic) -> tuple[Case, str]:
    """The next booked case with a unit that has to be scanned, and that unit's number. Raises NotShown."""
    today = clock.today(clinic=clinic)
    ahead = Case.objects.filter(clinic=clinic, state=Case.State.BOOKED, on__gte=today, room__isnull=False)
    for case in ahead.order_by("starts_at"):
        for line in pick_list(case=case, today=today).lines:
            if line.needs_stock and line.must_scan and line.parts:
                return case, line.parts[0].lot.shown
    raise NotShown("No booked case of the demo has a unit that has to be scanned.")


def scanned(clinic: Clinic) -> tuple[int, float, float]:
    """Statements, seconds, and seconds of the bare reading of a scan that puts a unit on a tray."""
    case, number = unit_to_scan(clinic)
    client = client_of(clinic, Role.Kind.ASSISTANT)
    address = reverse("pick_scan", args=[case.code])

    def post():
        with transaction.atomic():
            answer = client.post(address, {"code": number}, headers={"HX-Request": "true"})
            transaction.set_rollback(True)
        if answer.status_code != 200:
            raise NotShown(f"The scan of {number} for {case} answered {answer.status_code}.")

    with transaction.atomic():
        begin(case=case, by=None, at=clock.now())
        post()
        with listening() as statements:
            post()
        found = len(statements), seconds(post), seconds(bare(list(statements)))
        transaction.set_rollback(True)
    return found


def said(words: str, found: tuple[int, float, float]) -> None:
    """Print one line of the table."""
    count, whole, least = found
    ratio = f"{whole / least:.1f}" if least else "-"
    print(f"{words:<26}{count:>11}{whole * 1000:>10.1f}{least * 1000:>13.2f}{ratio:>8}", flush=True)


def planned(clinic: Clinic) -> tuple[int, float, float]:
    """The same of a whole plan worked out anew."""

    def plan():
        replan(clinic=clinic, today=clock.today(clinic=clinic), at=clock.now())

    with listening() as statements:
        plan()
    return len(statements), seconds(plan, runs=3), seconds(bare(list(statements)), runs=3)


def main() -> None:
    """Build, time and print."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--weeks", type=int, default=52, help="weeks of history in the demo practice")
    build_demo(weeks=options.parse_args().weeks)
    clinic = Clinic.objects.first()
    plan = planned(clinic)
    print(f"{'processor time':<26}{'statements':>11}{'whole ms':>10}{'bare SQL ms':>13}{'ratio':>8}")
    for page in pages(clinic):
        said(page.words, measured(clinic, page))
    said("A scan at the tray", scanned(clinic))
    said("A plan worked out anew", plan)
    items = ItemForecast.objects.filter(clinic=clinic).count()
    cases = Case.objects.open().filter(clinic=clinic).count()
    entries = Entry.objects.count()
    print(f"\n{items} items planned and {cases} cases booked at {clinic}; {entries:,} ledger entries in all")
    print("statements: those that read; a scan and a plan write as well")


if __name__ == "__main__":
    main()
