"""Where background tasks run: in the test itself or with a worker, whatever the run's REDIS_URL says."""

from contextlib import contextmanager

from practice.celery import app


@contextmanager
def tasks_run_here(here: bool):
    """Run tasks where they are sent (True) or send them to the workers (False), for a while."""
    before = app.conf.task_always_eager
    app.conf.task_always_eager = here
    try:
        yield
    finally:
        app.conf.task_always_eager = before
