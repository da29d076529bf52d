"""Time the pages people open all day on the demo practice, with the statements each sends.

Run: python -m bench.pages [--weeks 52]

Each page is asked for through the whole stack (middleware, session, view, template) by the person who
uses it. Beside it stands the bare SQL of the same page: the very statements it read with, sent again with
nothing around them. The ratio does not hang on the machine; the milliseconds do.
"""

import argparse
import time
from dataclasses import dataclass

from django.test import Client
from django.urls import reverse

from bench._practice import bare, build_demo, listening, seconds
from kits.models import Case
from practice import clock
from practice.models import Clinic, Role, User
from stock.models import Item, ItemForecast


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
    used = ItemForecast.objects.filter(clinic=clinic).order_by("-expected_use_30d").first()
    item = used.item if used else Item.objects.first()
    patient = Case.objects.filter(clinic=clinic, state=Case.State.CLOSED).order_by("-on")[0].patient
    assistant, manager, clinician = Role.Kind.ASSISTANT, Role.Kind.MANAGER, Role.Kind.CLINICIAN
    return [
        Page("Sign-in", "", reverse("sign_in")),
        Page("Today", assistant, reverse("today")),
        Page("Gather the day", assistant, reverse("gather")),
        Page("Pick list of a case", assistant, reverse("pick_list", args=[case.code])),
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


def main() -> None:
    """Build, time and print."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--weeks", type=int, default=52, help="weeks of history in the demo practice")
    build_demo(weeks=options.parse_args().weeks)
    clinic = Clinic.objects.first()
    # The first look at a page that shows the plan makes the plan; that is timed on its own.
    started = time.perf_counter()
    client_of(clinic, Role.Kind.MANAGER).get(reverse("reorders"))
    first = time.perf_counter() - started
    print(f"{'page':<26}{'statements':>11}{'page ms':>10}{'bare SQL ms':>13}{'ratio':>8}")
    for page in pages(clinic):
        count, whole, least = measured(clinic, page)
        ratio = f"{whole / least:.1f}" if least else "-"
        print(f"{page.words:<26}{count:>11}{whole * 1000:>10.1f}{least * 1000:>13.2f}{ratio:>8}")
    items = ItemForecast.objects.filter(clinic=clinic).count()
    cases = Case.objects.open().filter(clinic=clinic).count()
    print(f"\nReorders with the plan made first ({items} items, {cases} booked cases): {first:.2f} s")


if __name__ == "__main__":
    main()
