"""A demo practice in a database of its own for the measurements, and how they are timed.

Importing this module points the settings at a data directory that is thrown away afterwards and sets
Django up, so that it must be imported before anything of the project.
"""

import atexit
import os
import shutil
import statistics
import tempfile
import time
from collections.abc import Callable
from contextlib import contextmanager

import django
from django.core.management import call_command
from django.db import connection

DATA_DIR = tempfile.mkdtemp(prefix="planner-bench-")
atexit.register(shutil.rmtree, DATA_DIR, ignore_errors=True)
os.environ.pop("DATABASE_URL", None)
os.environ.update(DATA_DIR=DATA_DIR, TESTING="true", DJANGO_SETTINGS_MODULE="practice.settings")
os.makedirs(os.path.join(DATA_DIR, "static"))
django.setup()

Statement = tuple[str, object]


def build_demo(*, weeks: int) -> None:
    """Migrate the empty database and build the demo practice for today with so many weeks of history."""
    print(f"Building the demo practice with {weeks} weeks of history", flush=True)
    started = time.perf_counter()
    call_command("migrate", verbosity=0)
    with open(os.devnull, "w", encoding="utf-8") as nowhere:
        call_command("demo", no_serve=True, weeks=weeks, stderr=nowhere)
    print(f"built in {time.perf_counter() - started:.0f} s\n", flush=True)


def seconds(call: Callable[[], object], *, runs: int = 7) -> float:
    """Median processor seconds of a call, after a run to warm up; other work on the machine hardly counts."""
    call()
    found = []
    for _ in range(runs):
        started = time.process_time()
        call()
        found.append(time.process_time() - started)
    return statistics.median(found)


@contextmanager
def listening():
    """Collect every statement that reads, with its parameters, as it goes to the database."""
    heard: list[Statement] = []

    def listen(execute, sql, params, many, context):
        if sql.lstrip().upper().startswith("SELECT"):
            heard.append((sql, params))
        return execute(sql, params, many, context)

    with connection.execute_wrapper(listen):
        yield heard


def bare(statements: list[Statement]) -> Callable[[], None]:
    """The same statements sent to the database with nothing around them: the least an answer can take."""

    def run() -> None:
        with connection.cursor() as cursor:
            for sql, params in statements:
                cursor.execute(sql, params)
                cursor.fetchall()

    return run
