"""What the house rules look at: the project's own files, parsed once, and the words of a finding."""

import ast
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
LAYERS = ("practice", "stock", "kits")
NOT_OURS = {".venv", ".git", "var", "build", "node_modules", "__pycache__", "shots"}


@cache
def tracked() -> tuple[Path, ...]:
    """Return every file of the project: what git knows or would take; all files where there is no git."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=False,
    )
    if listed.returncode == 0 and listed.stdout:
        names = listed.stdout.decode().split("\0")
        return tuple(path for path in (ROOT / name for name in names if name) if path.is_file())
    return tuple(path for path in ROOT.rglob("*") if path.is_file() and not NOT_OURS & set(path.parts))


def named(path: Path) -> str:
    """Return a file's path from the project's root, with forward slashes."""
    return path.relative_to(ROOT).as_posix()


def python_files(*folders: str, migrations: bool = False) -> list[Path]:
    """Return the Python files under the folders (all of the project's if none is named)."""
    return [
        path
        for path in tracked()
        if path.suffix == ".py"
        and (not folders or named(path).startswith(tuple(f"{folder}/" for folder in folders)))
        and (migrations or "migrations" not in path.parts)
    ]


def template_files() -> list[Path]:
    """Return the project's HTML templates."""
    return [path for path in tracked() if path.suffix == ".html" and "templates" in path.parts]


@cache
def text_of(path: Path) -> str:
    """Return a file's text."""
    return path.read_text(encoding="utf-8")


@cache
def tree_of(path: Path) -> ast.Module:
    """Return a Python file's syntax tree."""
    return ast.parse(text_of(path), filename=str(path))


def module_of(path: Path) -> str:
    """Return the dotted name of a Python file."""
    return named(path).removesuffix(".py").removesuffix("/__init__").replace("/", ".")


def functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Walk every function of a tree, methods and inner functions included."""
    for node in ast.walk(tree):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            yield node


def length(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Return a function's lines from `def` to its end; the docstring is documentation, not length."""
    lines = (node.end_lineno or node.lineno) - node.lineno + 1
    first = node.body[0]
    if (
        isinstance(first, ast.Expr)
        and isinstance(first.value, ast.Constant)
        and isinstance(first.value.value, str)
    ):
        lines -= (first.end_lineno or first.lineno) - first.lineno + 1
    return lines


def dotted(node: ast.AST) -> str:
    """Return `a.b.c` for a chain of names; calls and subscripts on the way are left out."""
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        start = dotted(node.value)
        return f"{start}.{node.attr}" if start else node.attr
    if isinstance(node, ast.Call):
        return dotted(node.func)
    if isinstance(node, ast.Subscript):
        return dotted(node.value)
    return ""


def findings(rule, paths) -> list[str]:
    """Apply a rule (name, tree) -> (line, sentence) to files; return the findings as lines to read."""
    return [
        f"{named(path)}:{line}: {sentence}"
        for path in paths
        for line, sentence in rule(named(path), tree_of(path))
    ]


def bitten(rule, source: str, *, name: str = "stock/sample.py") -> list[str]:
    """Apply a rule to a sample, for the test that the rule bites."""
    return [sentence for _, sentence in rule(name, ast.parse(source))]
