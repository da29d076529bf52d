"""The tree as committed: locked packages, no registry hosts, no machine's paths, nothing large."""

import re
import subprocess
import tomllib

import pytest

from tests.house.sources import ROOT, named, text_of, tracked

LARGEST = 1024 * 1024  # bytes
BINARY = {".png", ".jpg", ".jpeg", ".xlsx", ".ods", ".ico", ".woff2", ".pdf", ".sqlite3"}
# Where packages and files are fetched from is the business of the machine, never of the project.
HOSTS = re.compile(
    r"pypi\.org|pythonhosted\.org|registry\.npmjs|deb\.debian|--(?:extra-)?index-url|--find-links"
)
MACHINE = re.compile(r"(?<![\w.<])/(?:root|home|work|Users)/\w|\b[A-Z]:\\Users\\")
PIN = re.compile(r"([A-Za-z0-9._-]+)(?:\[[^\]]*\])?==([^\s;\\]+)")
LOCKS = {
    "requirements.txt": (),
    "requirements-postgres.txt": ("postgres",),
    "requirements-dev.txt": ("dev",),
}


def plain(name):
    """A package's name as PyPA's name normalisation writes it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def declared(extras, text) -> dict[str, str]:
    """The exact versions that pyproject.toml asks for; a requirement without one is an error."""
    project = tomllib.loads(text)["project"]
    wanted = list(project["dependencies"])
    for extra in extras:
        wanted += project["optional-dependencies"][extra]
    pins = {}
    for line in wanted:
        match = PIN.fullmatch(line.strip())
        assert match, f"“{line}” is not pinned to one version"
        pins[plain(match[1])] = match[2]
    return pins


def locked(text) -> dict[str, set[str]]:
    """The versions in a lock; a package may have one per Python version."""
    found: dict[str, set[str]] = {}
    for line in text.splitlines():
        match = PIN.match(line)
        if match:
            found.setdefault(plain(match[1]), set()).add(match[2])
    return found


def drift(pins, versions) -> list[str]:
    """Pins that the lock does not hold, exactly and alone."""
    return [f"{name}=={pin}" for name, pin in sorted(pins.items()) if versions.get(name) != {pin}]


def without_hash(text) -> list[str]:
    """Packages of a lock that are not followed by a hash."""
    lines = text.splitlines()
    pairs = zip(lines, [*lines[1:], ""], strict=True)
    return [line for line, after in pairs if PIN.match(line) and "--hash=sha256:" not in line + after]


def foreign(name, text) -> list[str]:
    """Lines that name a registry's host or a path of one machine."""
    return [
        f"{name}:{number}: {match[0]}"
        for number, line in enumerate(text.splitlines(), start=1)
        for match in (*HOSTS.finditer(line), *MACHINE.finditer(line))
    ]


@pytest.mark.parametrize("name", LOCKS)
def test_the_lock_follows_from_pyproject(name):
    pins = declared(LOCKS[name], text_of(ROOT / "pyproject.toml"))
    assert drift(pins, locked(text_of(ROOT / name))) == [], "run make lock"


@pytest.mark.parametrize("name", LOCKS)
def test_every_locked_package_has_a_hash_and_no_address(name):
    text = text_of(ROOT / name)
    assert without_hash(text) == []
    assert "://" not in text


def test_all_locks_hold_the_same_versions():
    runtime = locked(text_of(ROOT / "requirements.txt"))
    for name in ("requirements-postgres.txt", "requirements-dev.txt"):
        other = locked(text_of(ROOT / name))
        assert {package: other.get(package) for package in runtime} == runtime


def test_debian_12_can_install_the_lock():
    # Debian 12's Python is 3.11.2, for which redis needs async-timeout; a lock made on 3.11.3 or later
    # without `--universal` leaves it out and cannot be installed there.
    assert re.search(
        r"^async-timeout==.*python_full_version < '3\.11\.3'", text_of(ROOT / "requirements.txt"), re.M
    )


def test_no_file_names_a_registry_or_a_machine():
    # This file spells the patterns.
    paths = [path for path in tracked() if path.suffix not in BINARY and path.name != "test_tree.py"]
    assert [line for path in paths for line in foreign(named(path), text_of(path))] == []


def test_nothing_large_is_committed():
    assert [named(path) for path in tracked() if path.stat().st_size > LARGEST] == []


def test_the_run_on_a_bare_machine_is_a_sound_script():
    script = ROOT / ".ci" / "run"
    assert "set -euo pipefail" in text_of(script)
    assert subprocess.run(["bash", "-n", str(script)], check=False).returncode == 0


def test_the_rules_on_locks_bite():
    sample = '[project]\ndependencies = ["A.b[x]==1.0"]\n'
    assert declared((), sample) == {"a-b": "1.0"}
    with pytest.raises(AssertionError, match="not pinned"):
        declared((), sample.replace("==", ">="))
    assert drift({"a-b": "1.0"}, locked("a-b==1.1 \\\n")) == ["a-b==1.0"]
    assert drift({"a-b": "1.0"}, {}) == ["a-b==1.0"]
    assert drift({"a-b": "1.0"}, locked("a-b==1.0 ; python_version < '3.12' \\\n")) == []
    assert without_hash("a-b==1.0\nc==2 \\\n    --hash=sha256:00\n") == ["a-b==1.0"]


@pytest.mark.parametrize(
    "line",
    # The host is put together here, so that this file does not name it.
    [
        f"see https://{'pypi'}.{'org'}/simple",
        "pip install --index-url x",
        "cd /home/someone/x",
        "C:\\Users\\someone",
    ],
)
def test_the_rule_on_foreign_lines_bites(line):
    assert foreign("x", line)
    assert not foreign("x", "see docs/home/x and /usr/bin/env")
