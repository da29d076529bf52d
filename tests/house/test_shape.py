"""Sizes, names and imports: small files and functions, no module for leftovers, no hidden imports."""

import ast

import pytest

from tests.house.sources import (
    ROOT,
    bitten,
    findings,
    functions,
    length,
    named,
    python_files,
    text_of,
    tracked,
)

LONGEST_FILE, LONGEST_FUNCTION, LONGEST_TEST_FILE = 400, 40, 500
LEFTOVERS = {"utils", "util", "helpers", "helper", "common", "misc", "tools", "stuff", "base_utils"}
PAGE_FILES = {".css", ".js"}


def file_too_long(name, text):
    """Sentence if a file is over its limit: 500 lines for tests, 400 for the rest."""
    limit = LONGEST_TEST_FILE if name.startswith("tests/") else LONGEST_FILE
    lines = text.count("\n")
    return f"{name} has {lines} lines; {limit} are allowed" if lines > limit else None


def functions_too_long(name, tree):
    """Functions over 40 lines, the docstring not counted."""
    for node in functions(tree):
        if length(node) > LONGEST_FUNCTION:
            yield node.lineno, f"{node.name} has {length(node)} lines; {LONGEST_FUNCTION} are allowed"


def leftover_name(name):
    """Sentence if any part of the path is a name for leftovers."""
    found = LEFTOVERS & {part.removesuffix(".py").strip("_") for part in name.split("/")}
    return f"{name}: “{found.pop()}” says nothing; name the noun or the verb" if found else None


def hidden_imports(name, tree):
    """Imports inside functions; only AppConfig.ready may have them."""
    for node in functions(tree):
        if node.name == "ready" and name.endswith("apps.py"):
            continue
        for inner in ast.walk(node):
            if isinstance(inner, (ast.Import, ast.ImportFrom)):
                yield inner.lineno, f"import inside {node.name}: the layers point the wrong way"
            elif isinstance(inner, ast.Call) and ast.unparse(inner.func) in {"import_module", "__import__"}:
                yield inner.lineno, f"import by name inside {node.name}"


def star_imports(name, tree):
    """`from x import *`; only the settings of the tests, which overlay the real ones, may."""
    if name == "tests/settings.py":
        return
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and any(alias.name == "*" for alias in node.names):
            yield node.lineno, f"star import from {node.module}"


def test_files_are_short():
    paths = [path for path in tracked() if path.suffix in PAGE_FILES] + python_files()
    assert [found for path in paths if (found := file_too_long(named(path), text_of(path)))] == []


def test_functions_are_short():
    assert findings(functions_too_long, python_files()) == []


def test_no_module_is_named_for_leftovers():
    assert [found for path in python_files() if (found := leftover_name(named(path)))] == []


@pytest.mark.parametrize("rule", [hidden_imports, star_imports], ids=lambda rule: rule.__name__)
def test_imports_stand_at_the_top_and_name_what_they_take(rule):
    outside_tests = [path for path in python_files() if not named(path).startswith("tests/house/")]
    assert findings(rule, outside_tests) == []


def test_migrations_are_named_by_hand():
    paths = [
        path
        for path in python_files("practice", "stock", "kits", migrations=True)
        if "migrations" in path.parts
    ]
    assert [named(path) for path in paths if "_auto_" in path.name] == []


def test_the_size_rules_bite():
    assert file_too_long("stock/x.py", "\n" * 401)
    assert not file_too_long("tests/x.py", "\n" * 401)
    assert file_too_long("tests/x.py", "\n" * 501)
    rest = "\n".join(f"    y = {number}" for number in range(38))
    body = "\n".join(f"    x = {number}" for number in range(40))
    assert bitten(functions_too_long, f"def long():\n{body}\n") == ["long has 41 lines; 40 are allowed"]
    assert bitten(functions_too_long, f'def told():\n    """Say it.\n\n    More.\n    """\n{rest}\n') == []


def test_the_name_rule_bites():
    for name in ("stock/utils.py", "kits/helpers/x.py", "practice/_common.py", "stock/misc.py"):
        assert leftover_name(name)
    assert not leftover_name("stock/posting.py")


def test_the_import_rules_bite():
    sample = "def hide():\n    from stock import models\n    return models\n"
    assert bitten(hidden_imports, sample)
    assert bitten(hidden_imports, "def f():\n    return import_module('x')\n")
    ready = "class A:\n    def ready(self):\n        from x import y\n"
    assert not bitten(hidden_imports, ready, name="stock/apps.py")
    assert bitten(hidden_imports, ready, name="stock/views.py")
    assert bitten(star_imports, "from stock import *\n")


def test_the_rules_see_the_project():
    assert (ROOT / "pyproject.toml") in tracked()
    assert len(python_files("practice")) > 5
