"""Set up a practice on an empty installation, for those who would rather not use the page."""

import getpass
import json
import sys

from django.core.management.base import BaseCommand

from practice import clock
from practice.forms import StartForm
from practice.founding import found_practice
from practice.management.commands._import_command import CalledWrongly, Refused
from practice.refusals import Refusal


class Command(BaseCommand):
    """``start_practice --name … --clinic … --rooms A1,A2 --administrator … [--shown-as …]``."""

    help = "Make the practice, its first clinic and its administrator; possible once, before anyone signs in."

    def add_arguments(self, parser):
        """Options of the command."""
        parser.add_argument("--name", required=True, help="name of the practice")
        parser.add_argument("--clinic", required=True, help="name of its first clinic")
        parser.add_argument("--rooms", required=True, help="codes of its rooms, with commas")
        parser.add_argument("--administrator", required=True, help="sign-in name of the administrator")
        parser.add_argument("--shown-as", help="the administrator's name as shown; default: the sign-in name")
        parser.add_argument("--time-zone", default="Europe/London")
        parser.add_argument("--currency", default="GBP")
        parser.add_argument("--teeth", choices=("fdi", "universal"), default="fdi")
        parser.add_argument(
            "--password-stdin",
            action="store_true",
            help="read the password from standard input instead of asking for it",
        )
        parser.add_argument("--format", choices=("text", "json"), default="text")

    def handle(self, **options):
        """Set up and say what comes next; raises Refused (exit 1) or CalledWrongly (exit 2)."""
        form = StartForm(self._given(options))
        if not form.is_valid():
            faults = [f"{form[name].label}: {' '.join(said)}" for name, said in form.errors.items()]
            raise CalledWrongly(" ".join(faults))
        try:
            person = found_practice(**form.cleaned_data, by=None, at=clock.now())
        except Refusal as refusal:
            raise Refused(str(refusal)) from refusal
        if options["format"] == "json":
            self.stdout.write(json.dumps({"administrator": person.username, "clinic": options["clinic"]}))
            return
        self.stdout.write(
            f"{options['name']} is set up. Sign in as {person.username}; Set-up shows the next steps."
        )

    def _given(self, options: dict) -> dict:
        password = sys.stdin.readline().rstrip("\r\n") if options["password_stdin"] else None
        password = password if password is not None else getpass.getpass("Password of the administrator: ")
        again = password if options["password_stdin"] else getpass.getpass("Again: ")
        return {
            "name": options["name"],
            "clinic_name": options["clinic"],
            "rooms": options["rooms"],
            "username": options["administrator"],
            "display_name": options["shown_as"] or options["administrator"],
            "time_zone": options["time_zone"],
            "currency": options["currency"],
            "tooth_notation": options["teeth"],
            "password": password,
            "password_again": again,
        }
