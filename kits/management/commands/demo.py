"""demo: build the demo practice, if it is not there yet, and serve it on this machine."""

import datetime as dt
import gc
import os
import subprocess
import sys

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from kits.demo import cast
from kits.demo.build import Wish, build, built, refuse_if_added_to
from kits.demo.emptying import empty
from kits.replanning import ensure_fresh
from practice import clock
from practice.models import Clinic
from practice.refusals import Refusal

HOST = "127.0.0.1"
WORKERS, BLOCKING_THREADS = 2, 4


class Command(BaseCommand):
    """``demo [--no-serve] [--port 8000] [--today DATE] [--seed 7] [--weeks 52] [--fresh]``."""

    help = "Build an invented practice to try everything out, and serve it. Never touches other data."

    def add_arguments(self, parser):
        """Options of the command."""
        parser.add_argument("--no-serve", action="store_true", help="build only")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--today", type=dt.date.fromisoformat, help="the day it is built for")
        parser.add_argument("--seed", type=int, default=7)
        parser.add_argument("--weeks", type=int, default=52, help="weeks of history")
        parser.add_argument("--fresh", action="store_true", help="build it anew whatever was done in it")

    def handle(self, *args, **options):
        """Build where needed, print the sign-ins, serve until stopped; exit 1 when refused."""
        try:
            wish = Wish(options["today"] or clock.today(), options["seed"], options["weeks"])
            self._ensure(wish, fresh=options["fresh"])
        except Refusal as refusal:
            raise CommandError(str(refusal), returncode=1)
        if not options["no_serve"]:
            self._serve(options["port"])

    def _ensure(self, wish: Wish, *, fresh: bool) -> None:
        """Leave a demo built for the same wish as it is; build it otherwise."""
        there = built()
        if there == wish and not fresh:
            self.stderr.write(f"The demo practice for {wish.today} is there already.")
            return
        if there is not None:
            if not fresh:
                refuse_if_added_to()
            self.stderr.write(f"Taking away the demo practice built for {there.today}.")
            empty()
        started = clock.now()
        # Hundreds of thousands of rows pass through; searching them for garbage takes a fifth of the time.
        gc.disable()
        counts = build(wish, tell=self.stderr.write)
        gc.enable()
        self.stderr.write("What to order")
        for clinic in Clinic.objects.all():
            ensure_fresh(clinic=clinic, today=wish.today, at=clock.now())
        seconds = (clock.now() - started).total_seconds()
        told = ", ".join(f"{count} {what}" for what, count in counts.items())
        self.stderr.write(f"Built in {seconds:.0f} seconds: {told}.")

    def _serve(self, port: int) -> None:
        self.stdout.write(
            f"\nThe demo practice is at http://{HOST}:{port}/ (stop it with Ctrl-C). Sign in as"
        )
        for role, username in cast.SIGN_INS:
            self.stdout.write(f"  {username:<12} {role}")
        self.stdout.write(
            f"with the password {cast.PASSWORD} — for this demo only; every name and figure is invented.\n"
        )
        self.stdout.flush()
        command = self._server(port)
        if os.name == "posix":
            # The server takes this process over, so whatever stops the command stops the server too.
            os.chdir(settings.BASE_DIR)
            os.execv(command[0], command)
        subprocess.run(command, check=False, cwd=settings.BASE_DIR)

    def _server(self, port: int) -> list[str]:
        """The command that serves: granian, or Django's own server where granian has no build."""
        probe = subprocess.run([sys.executable, "-c", "import granian"], capture_output=True, check=False)
        if probe.returncode == 0:
            options = ["--interface", "wsgi", "--host", HOST, "--port", str(port)]
            options += ["--workers", str(WORKERS), "--blocking-threads", str(BLOCKING_THREADS)]
            return [
                sys.executable,
                "-m",
                "granian",
                *options,
                "--log-level",
                "warning",
                "practice.wsgi:application",
            ]
        self.stderr.write(
            "The usual server (granian) is not available here; Django's own one serves instead."
        )
        return [sys.executable, "manage.py", "runserver", "--noreload", f"{HOST}:{port}"]
