"""Sweeps over the whole project: migrations, every address for every role, and what the documents tell."""

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass

from django.core.management import call_command
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from practice.models import Role
from practice.roles import allows
from tests.house.sources import LAYERS, ROOT, dotted, python_files, text_of, tree_of

BACKEND = "django.contrib.auth.backends.ModelBackend"
# Addresses that need no sign-in, and those that anyone signed in may use whatever their role.
PUBLIC = {"start", "sign_in", "sign_out", "locked_out", "change_password"}
NOT_SWEPT = {"admin", "djdt"}
# Arguments that are not "the key of the first row of the model the argument is named after": the row that the
# address is about, and what to write for it.
SAMPLES = {
    "chart_number": lambda standing: (standing.cast.patient, standing.cast.patient.chart_number),
    "item_code": lambda standing: (standing.cast.membrane, standing.cast.membrane.code),
    "case_code": lambda standing: (standing.row("case"), standing.row("case").code),
    "order_number": lambda standing: (standing.row("order"), standing.row("order").number),
    "on": lambda standing: (None, standing.row("case").on),
    "day": lambda standing: (None, standing.row("case").on),
    "format": lambda standing: (None, "csv"),
    "kind": lambda standing: (None, "stock"),
    # Visits close this person's sign-in and take roles away: nobody whose visits are still to come.
    "user_id": lambda standing: (None, standing.cast.stranger.pk),
    "meaning_id": lambda standing: (
        standing.row("rememberedmeaning"),
        standing.row("rememberedmeaning").pk,
    ),
    "tooth": lambda standing: (None, "11"),
}


@dataclass(frozen=True)
class Page:
    """An address of the project: its full name, the names of its arguments and its view."""

    name: str
    arguments: tuple[str, ...]
    view: object


def pages(patterns=None, prefix: str = "", arguments: tuple[str, ...] = ()) -> Iterator[Page]:
    """Walk every named address of the project, other people's applications left out."""
    for entry in get_resolver().url_patterns if patterns is None else patterns:
        taken = (*arguments, *entry.pattern.converters)
        if isinstance(entry, URLResolver):
            if entry.namespace not in NOT_SWEPT:
                inner = f"{prefix}{entry.namespace}:" if entry.namespace else prefix
                yield from pages(entry.url_patterns, inner, taken)
        elif isinstance(entry, URLPattern) and entry.name:
            yield Page(prefix + entry.name, taken, entry.callback)


def sample(page: Page, argument: str, standing):
    """A row and a value for an argument: from the table, or by the model that the argument is named after."""
    if (chosen := SAMPLES.get(f"{page.name}.{argument}", SAMPLES.get(argument))) is not None:
        return chosen(standing)
    named = argument.removesuffix("_id").removesuffix("_pk")
    if argument in {"pk", "id"}:
        named = re.split(r"[:_-]", page.name.split(":")[-1])[0]
    row = standing.row(named)
    assert row is not None, (
        f"no sample for the argument {argument} of {page.name}: add it to SAMPLES or conftest"
    )
    return row, row.pk


def belongs_to_one_clinic(row) -> bool:
    """Whether a row is out of reach for people of the other clinic."""
    path = getattr(row, "clinic_path", None)
    return path is not None and "clinics" not in path


def faults(page: Page, url: str, standing, *, at_one_clinic: bool) -> Iterator[str]:
    """What a visit of an address by everyone shows to be wrong."""
    cast = standing.cast
    yield from _as_nobody(page, url)
    for kind in Role.Kind.values:
        person = {"reader": cast.reader, "assistant": cast.assistant}.get(kind) or getattr(cast, kind)
        yield from _as_member(page, url, person, kind)
    for person, wanted in ((cast.stranger, {302, 403, 404, 405}), (cast.other_assistant, {403, 404, 405})):
        if person is cast.stranger or at_one_clinic:
            answer = signed_in(person).get(url)
            if answer.status_code not in wanted and page.name not in PUBLIC:
                yield f"{url} answers {answer.status_code} to {person}"


def signed_in(person) -> Client:
    """A client signed in as the person; errors come back as 500 instead of being raised."""
    client = Client(raise_request_exception=False)
    client.force_login(person, backend=BACKEND)
    return client


def _as_nobody(page: Page, url: str) -> Iterator[str]:
    answer = Client(raise_request_exception=False).get(url)
    if page.name in PUBLIC:
        if answer.status_code >= 500:
            yield f"{url} answers {answer.status_code} to nobody"
    elif answer.status_code != 405 and (
        answer.status_code != 302 or reverse("sign_in") not in answer["Location"]
    ):
        yield f"{url} answers {answer.status_code} to nobody; the sign-in page is expected"


def _as_member(page: Page, url: str, person, kind: str) -> Iterator[str]:
    client = signed_in(person)
    answer = client.get(url)
    if answer.status_code == 405:
        answer = client.post(url)
        wanted = {200, 204, 302, 303, 400, 404, 405, 409, 422}
    else:
        wanted = {200, 302}
    need = getattr(page.view, "need", None)
    if page.name not in PUBLIC and need is not None and not allows(kind, need):
        wanted = {403, 405}
    if answer.status_code not in wanted:
        yield f"{url} answers {answer.status_code} to a {kind} (need: {need})"
    elif answer.status_code == 200 and not answer.streaming:
        yield from heading_faults(url, answer.content.decode(errors="replace"))


def heading_faults(url: str, body: str) -> Iterator[str]:
    """A whole page has exactly one h1."""
    headings = len(re.findall(r"<h1[\s>]", body))
    if re.search(r"<html[\s>]", body) and headings != 1:
        yield f"{url} has {headings} h1"


def settings_read(tree) -> set[str]:
    """Names of environment variables that the settings read."""
    return {
        node.args[0].value
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and dotted(node.func).startswith("env.") and node.args
    }


def actions_declared(tree) -> set[str]:
    """Audit actions declared in a module: `audit.action("noun.verb", "…")`."""
    return {
        node.args[0].value
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and dotted(node.func) in {"audit.action", "action"}
        and len(node.args) == 2
        and isinstance(node.args[0], ast.Constant)
    }


def commands() -> set[str]:
    """The project's management commands."""
    files = [path for path in python_files(*LAYERS) if path.parts[-3:-1] == ("management", "commands")]
    return {path.stem for path in files if not path.stem.startswith("_")}


def told(document: str) -> set[str]:
    """What a document tells of: the first code word of each table row and each heading."""
    text = text_of(ROOT / "docs" / document)
    return set(re.findall(r"^(?:\||#+) *`([^`]+)`", text, re.M))


def test_no_migration_is_pending(db):
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


def test_every_address_answers_rightly_for_every_role(standing):
    found = []
    for page in pages():
        samples = {name: sample(page, name, standing) for name in page.arguments}
        url = reverse(page.name, kwargs={name: value for name, (_, value) in samples.items()})
        at_one_clinic = any(belongs_to_one_clinic(row) for row, _ in samples.values())
        found += faults(page, url, standing, at_one_clinic=at_one_clinic)
    assert found == []


def test_every_setting_is_documented():
    assert settings_read(tree_of(ROOT / "practice" / "settings.py")) == told("settings.md")


def test_every_command_is_documented():
    assert commands() == told("commands.md")


def test_every_audit_action_is_documented():
    declared = {name for path in python_files(*LAYERS) for name in actions_declared(tree_of(path))}
    assert declared == told("audit.md")


def test_the_rule_on_headings_bites():
    assert list(heading_faults("/", "<html><h1>A</h1><h1 class='x'>B</h1>")) == ["/ has 2 h1"]
    assert list(heading_faults("/", "<html lang='en'><h2>A</h2>")) == ["/ has 0 h1"]
    assert list(heading_faults("/", "<html lang='en'><h1>A</h1>")) == []
    assert list(heading_faults("/", "<li>a part of a page</li>")) == []


def test_the_rules_on_documents_bite():
    assert settings_read(ast.parse("A = env.bool('A', default=False)\nB = env.str('B')")) == {"A", "B"}
    assert actions_declared(ast.parse("HOLD = audit.action('lot.hold', 'held {subject}')")) == {"lot.hold"}
    assert "DEBUG" in told("settings.md")


def test_the_sweep_of_addresses_bites(standing, settings):
    settings.ROOT_URLCONF = "tests.house.faulty_urls"
    lines = []
    for page in pages(get_resolver("tests.house.faulty_urls").url_patterns):
        lines += faults(page, f"/{page.name}/", standing, at_one_clinic=True)
    said = "\n".join(lines)
    for expected in (
        "/open/ answers 200 to nobody",
        "/open/ answers 200 to A Stranger",
        "/open/ answers 200 to S. Numbrecht",
        "/open/ has 2 h1",
        "/broken/ answers 500 to a manager",
        "/set_up/ answers 200 to a reader (need: set_up)",
    ):
        assert expected in said
