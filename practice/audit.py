"""Audit: who did what, written in the same transaction as the change.

An action is declared once, beside the verb that does it, with the sentence it is shown by:
``HOLD = audit.action("lot.hold", "held {subject}: {reason}")``.
"""

import datetime as dt
import re

from practice.models import AuditEntry

_GRAMMAR = re.compile(r"^[a-z]+(-[a-z]+)*\.[a-z]+(-[a-z]+)*$")
SENTENCES: dict[str, str] = {}


class BadAction(Exception):
    """An action is declared or recorded in a way its grammar does not allow."""


def action(name: str, sentence: str) -> str:
    """Declare an action ``noun.verb`` and its sentence; returns the name. Raises BadAction."""
    if not _GRAMMAR.match(name):
        raise BadAction(f"The action “{name}” is not written as noun.verb in small letters.")
    if SENTENCES.get(name, sentence) != sentence:
        raise BadAction(f"The action “{name}” already has another sentence.")
    SENTENCES[name] = sentence
    return name


def record(name: str, *, by, at: dt.datetime, subject: str, clinic=None, **facts) -> AuditEntry:
    """Write one audit entry. ``facts`` must fill the action's sentence; raises BadAction when they do not."""
    if name not in SENTENCES:
        raise BadAction(f"The action “{name}” was never declared.")
    try:
        SENTENCES[name].format(subject=subject, **facts)
    except KeyError as missing:
        raise BadAction(f"The sentence of “{name}” needs {missing}, which was not given.") from missing
    return AuditEntry.objects.create(action=name, by=by, at=at, subject=subject, clinic=clinic, facts=facts)


def deed(entry: AuditEntry) -> str:
    """What was done, without who did it."""
    return SENTENCES.get(entry.action, entry.action + " {subject}").format(
        subject=entry.subject, **entry.facts
    )


def sentence(entry: AuditEntry) -> str:
    """The entry as a sentence: who, what."""
    return f"{entry.by or 'The system'} {deed(entry)}"


def of_clinics(clinics):
    """Entries of these clinics and of the whole practice, newest first."""
    return AuditEntry.objects.of_clinics(clinics)
