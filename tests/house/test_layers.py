"""Directions: pure stays pure, kits asks stock to write, one module reads the clock, one the environment."""

import ast
import re
import subprocess
import sys
import tomllib

import pytest
from django.apps import apps

from tests.house.sources import (
    LAYERS,
    ROOT,
    bitten,
    dotted,
    findings,
    functions,
    module_of,
    python_files,
    text_of,
    tree_of,
)

# Modules that must be pure as soon as they exist, whatever their docstring says.
MEANT_PURE = (
    *("stock.planning", "stock.scanning", "stock.values", "stock.allocation", "stock.chart"),
    *(
        "kits.sizing",
        "kits.explosion",
        "kits.slots",
        "practice.workdays",
        "practice.teeth",
        "practice.spreadsheets",
    ),
)
# "Pure." or "Pure: …" opens a sentence; "the pure sums live elsewhere" says nothing of the module itself.
SAYS_PURE = re.compile(r"\bPure\b|\b[Nn]o Django")
WITHOUT_DJANGO = """
import importlib, sys
sys.modules["django"] = None
importlib.import_module(sys.argv[1])
"""

# Where the day may be read: the outermost ring, which hands it down as `on` or `today`.
CLOCK = "practice/clock.py"
OUTERMOST = re.compile(
    r"(.*/(views|tasks|middleware|context|admin)(/.*)?\.py|.*/management/commands/.*|bench/.*)"
)
CLOCK_READS = {
    *("datetime.now", "datetime.utcnow", "datetime.today", "date.today", "time.time", "time.time_ns"),
    *("timezone.now", "timezone.localdate", "timezone.localtime"),
}
CLOCK_IMPORTS = {"practice.clock", "django.db.models.functions.Now"}
ENVIRONMENT_READS = ("os.environ", "os.getenv", "environ.get", "getenv")
START_POINTS = {"manage.py", "practice/wsgi.py", "practice/asgi.py", "practice/celery.py"}

WRITES = {
    *(
        "create",
        "bulk_create",
        "acreate",
        "get_or_create",
        "update_or_create",
        "save",
        "asave",
        "delete",
        "adelete",
    ),
    *("update", "aupdate", "bulk_update", "add", "set", "remove", "clear"),
}


def configured():
    """The lists in pyproject.toml: modules of the purity contract, and files of the type check."""
    config = tomllib.loads(text_of(ROOT / "pyproject.toml"))["tool"]
    contracts = {contract["type"]: contract for contract in config["importlinter"]["contracts"]}
    return contracts, config["mypy"]["files"]


def pure_modules():
    """Outermost pure modules: by name or by what their docstring says; a package stands for all inside it."""
    found = set()
    for path in python_files(*LAYERS):
        name = module_of(path)
        says = SAYS_PURE.search(ast.get_docstring(tree_of(path)) or "")
        if name in MEANT_PURE or (says and not path.name.startswith("test_")):
            found.add(name)
    return sorted(name for name in found if not any(name.startswith(f"{other}.") for other in found))


def covered(name, listed):
    return any(name == other or name.startswith(f"{other}.") for other in listed)


def clock_reads(name, tree):
    """Reads of the clock, hidden ones in model fields included, and the clock module taken inside."""
    if name == CLOCK or OUTERMOST.fullmatch(name):
        return
    for node in ast.walk(tree):
        words = ".".join(dotted(node).split(".")[-2:]) if isinstance(node, ast.Attribute) else ""
        if words in CLOCK_READS:
            yield node.lineno, f"{words} reads the clock; take the day as an argument"
        elif isinstance(node, ast.keyword) and node.arg in {"auto_now", "auto_now_add"}:
            yield node.value.lineno, f"{node.arg} reads the clock; the verb sets the moment"
        elif isinstance(node, ast.ImportFrom):
            taken = {f"{node.module}.{alias.name}" for alias in node.names}
            if node.module == "practice.clock" or taken & CLOCK_IMPORTS:
                yield node.lineno, "only views, commands and tasks ask for the present moment"


def environment_reads(name, tree):
    """Reads of the environment outside the settings; a start point may name the settings module."""
    if name == "practice/settings.py":
        return
    for node in ast.walk(tree):
        words = dotted(node) if isinstance(node, (ast.Attribute, ast.Name)) else ""
        if words.startswith(ENVIRONMENT_READS) and not (
            name in START_POINTS and words in {"os.environ", "os.environ.setdefault"}
        ):
            yield node.lineno, f"{words}: only practice/settings.py reads the environment"
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "environs":
            yield node.lineno, "environs: only practice/settings.py reads the environment"


def stock_names():
    """Stock's models, and the accessors that lead to their rows and to no other rows."""
    models = {model.__name__ for model in apps.get_app_config("stock").get_models()}
    to_stock, elsewhere = set(), set()
    for model in apps.get_models():
        for field in model._meta.get_fields():
            if field.is_relation and field.related_model is not None:
                accessor = field.name if field.concrete else field.get_accessor_name()
                leads = field.related_model._meta.app_label == "stock"
                (to_stock if leads else elsewhere).add(accessor)
    return models, {name for name in to_stock - elsewhere if name}


def stock_rows_written(name, tree):
    """Writes to stock's rows from kits: by model, by relation, or by a name a stock row was bound to."""
    models, accessors = stock_names()
    taken = {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("stock")
        for alias in node.names
    }
    known = {alias for alias in taken if alias in models}
    for node in functions(tree):
        rows = known | _bound_to(node, known)
        for call in (inner for inner in ast.walk(node) if isinstance(inner, ast.Call)):
            parts = dotted(call.func).split(".")
            if len(parts) > 1 and parts[-1] in WRITES and (parts[0] in rows or accessors & set(parts[1:-1])):
                yield call.lineno, f"{'.'.join(parts)} writes a row of stock; call stock's verb"
            elif parts[0] in known and len(parts) == 1:
                yield call.lineno, f"{parts[0]}(…) makes a row of stock; call stock's verb"


def _bound_to(node, known):
    """Names that hold stock rows: annotated arguments, and what is assigned or looped from a model."""
    rows = {
        arg.arg
        for arg in ast.walk(node)
        if isinstance(arg, ast.arg) and arg.annotation and _names(arg.annotation) & known
    }
    for inner in ast.walk(node):
        if isinstance(inner, ast.Assign) and dotted(inner.value).split(".")[0] in known | rows:
            rows |= {target.id for target in inner.targets if isinstance(target, ast.Name)}
        elif (
            isinstance(inner, (ast.For, ast.comprehension))
            and dotted(inner.iter).split(".")[0] in known | rows
        ):
            rows |= _names(inner.target)
    return rows


def _names(node):
    return {inner.id for inner in ast.walk(node) if isinstance(inner, ast.Name)}


def test_every_pure_module_is_under_the_contract_and_the_type_check():
    contracts, checked = configured()
    listed = contracts["forbidden"]["source_modules"]
    missing = [name for name in pure_modules() if not covered(name, listed)]
    assert missing == [], "add them to both lists in pyproject.toml: the import contract's and mypy's"
    types = [entry.removesuffix(".py").replace("/", ".") for entry in checked]
    assert sorted(types) == sorted(listed)


def test_the_layers_are_the_three_apps_in_their_order():
    contracts, _ = configured()
    assert contracts["layers"]["layers"] == ["kits", "stock", "practice"]
    exceptions = contracts["layers"]["ignore_imports"]
    assert all(line.startswith("practice.urls -> ") for line in exceptions)


@pytest.mark.parametrize("name", pure_modules())
def test_a_pure_module_runs_where_there_is_no_django(name):
    ran = subprocess.run(
        [sys.executable, "-c", WITHOUT_DJANGO, name], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert ran.returncode == 0, ran.stderr


def test_no_clock_below_views_commands_and_tasks():
    assert findings(clock_reads, python_files(*LAYERS)) == []


def test_only_the_settings_read_the_environment():
    paths = [*python_files(*LAYERS), ROOT / "manage.py"]
    assert findings(environment_reads, paths) == []


def test_kits_never_writes_rows_of_stock():
    assert findings(stock_rows_written, python_files("kits")) == []


def test_the_purity_rule_bites():
    assert SAYS_PURE.search("Sums over demand. Pure.")
    assert SAYS_PURE.search("This module imports no Django.")
    assert not SAYS_PURE.search("Reads the ledger; the sums over it are pure and live elsewhere.")
    assert not covered("stock.allocation", ["stock.planning"])
    assert covered("stock.planning.pmf", ["stock.planning"])
    ran = subprocess.run(
        [sys.executable, "-c", WITHOUT_DJANGO, "practice.models"], cwd=ROOT, capture_output=True, check=False
    )
    assert ran.returncode != 0


@pytest.mark.parametrize(
    "sample",
    [
        "today = datetime.date.today()",
        "at = dt.datetime.now(tz)",
        "at = models.DateTimeField(default=timezone.now)",
        "at = models.DateTimeField(auto_now_add=True)",
        "from practice import clock",
        "from practice.clock import today",
        "from django.db.models.functions import Now",
        "started = time.time()",
    ],
)
def test_the_clock_rule_bites(sample):
    assert bitten(clock_reads, sample)
    assert not bitten(clock_reads, sample, name="stock/views.py")
    assert not bitten(clock_reads, sample, name="kits/management/commands/plan.py")


@pytest.mark.parametrize(
    "sample", ["import os\nx = os.environ['X']", "import os\nx = os.getenv('X')", "from environs import Env"]
)
def test_the_environment_rule_bites(sample):
    assert bitten(environment_reads, sample)
    assert not bitten(environment_reads, sample, name="practice/settings.py")
    naming = "import os\nos.environ.setdefault('DJANGO_SETTINGS_MODULE', 'practice.settings')"
    assert not bitten(environment_reads, naming, name="manage.py")
    assert bitten(environment_reads, naming, name="stock/posting.py")


@pytest.mark.parametrize(
    "body",
    [
        "Lot.objects.create(item=item)",
        "Lot.objects.filter(item=item).update(decision='held')",
        "Lot(item=item)",
        "lot = Lot.objects.get(pk=1)\n    lot.save()",
        "for lot in Lot.objects.all():\n        lot.delete()",
        "line.lot.save()",
        "line.lot.balances.create(place=place)",
    ],
)
def test_the_rule_against_writing_stock_rows_bites(body):
    sample = f"from stock.models import Lot\ndef close(line, item, place):\n    {body}\n"
    assert bitten(stock_rows_written, sample, name="kits/closing.py")


def test_the_rule_against_writing_stock_rows_lets_reading_and_verbs_pass():
    sample = (
        "from stock.models import Lot\nfrom stock import posting\n"
        "def close(case, line):\n    lots = Lot.objects.filter(item=line.item)\n"
        "    posting.use(lot=lots[0], quantity=1)\n    case.sites.create(tooth='11')\n    case.save()\n"
    )
    assert bitten(stock_rows_written, sample, name="kits/closing.py") == []
