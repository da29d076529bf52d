# Every command a developer or a practice needs, on a machine with python3 (3.11 or newer), python3-venv and make.
# Run `make` alone for the list.

SHELL   := /bin/sh
PYTHON  ?= python3
VENV    := .venv
PY      := $(VENV)/bin/python
PORT    ?= 8000
PIP     := $(PY) -m pip install --quiet --disable-pip-version-check --require-hashes --only-binary :all:
COMPILE := pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header
ARGS    ?=

.DEFAULT_GOAL := help
.PHONY: help demo test check lock check-lock bench clean venv-ready chromium-note

help:
	@echo 'make demo      install what is missing, build a demo practice and serve it on 127.0.0.1:$(PORT) (PORT=8100 to change)'
	@echo 'make test      install what is missing and run every test (ARGS="-k name" to choose)'
	@echo 'make check     style, layers, types, settings, migrations and templates'
	@echo 'make bench     measure speed and exactness'
	@echo 'make lock      recompile requirements*.txt after a change in pyproject.toml'
	@echo 'make check-lock  recompile into a scratch place and compare'
	@echo 'make clean     remove caches and collected files; keeps data and the virtual environment'

# A virtual environment with a working pip. Says in words what the machine lacks before anything is made.
venv-ready:
	@if [ -x $(PY) ] && $(PY) -m pip --version >/dev/null 2>&1; then exit 0; fi; \
	command -v $(PYTHON) >/dev/null 2>&1 || { \
	  echo 'Python is missing: no "$(PYTHON)" on this machine. On Debian or Ubuntu: apt-get install python3 python3-venv' >&2; exit 1; }; \
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { \
	  echo "Python 3.11 or newer is needed; $(PYTHON) is $$($(PYTHON) --version 2>&1). Name a newer one: make PYTHON=python3.12 ..." >&2; exit 1; }; \
	$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null || { \
	  echo 'Python cannot make virtual environments here: its venv part is missing. On Debian or Ubuntu: apt-get install python3-venv' >&2; exit 1; }; \
	echo 'Making the virtual environment in $(VENV)' >&2; \
	$(PYTHON) -m venv $(VENV) || { echo 'The virtual environment could not be made; the lines above say why.' >&2; exit 1; }

# The stamps carry the date of the last install, so nothing is installed twice for the same lock.
$(VENV)/.runtime-installed: requirements.txt | venv-ready
	@echo 'Installing the runtime packages (checked against their hashes)' >&2
	@$(PIP) -r requirements.txt
	@touch $@

$(VENV)/.dev-installed: requirements-dev.txt | venv-ready
	@echo 'Installing the runtime and development packages (checked against their hashes)' >&2
	@$(PIP) -r requirements-dev.txt
	@touch $@

demo: $(VENV)/.runtime-installed
	@$(PY) manage.py migrate --verbosity 0
	@$(PY) manage.py collectstatic --noinput --verbosity 0
	@exec $(PY) manage.py demo --port $(PORT)

chromium-note:
	@command -v chromium >/dev/null 2>&1 || \
	  echo 'Chromium is missing, so the browser tests are left out. On Debian: apt-get install chromium' >&2

test: $(VENV)/.dev-installed chromium-note
	@if command -v chromium >/dev/null 2>&1; then exec $(PY) -m pytest $(ARGS); \
	else $(PY) -m pytest -m 'not browser' $(ARGS) && \
	  echo 'Passed without the browser tests: install chromium to run those too.' >&2; fi

# The one gate. Every step runs from the virtual environment, in the order of how fast it is.
check: $(VENV)/.dev-installed
	$(VENV)/bin/ruff check .
	$(VENV)/bin/ruff format --check .
	$(VENV)/bin/lint-imports
	$(VENV)/bin/djade --check --target-version 5.2 $$(git ls-files -- 'templates/*.html' '*/templates/*.html')
	$(VENV)/bin/djlint --quiet --lint templates
	$(VENV)/bin/mypy
	$(PY) manage.py check --fail-level WARNING
	$(PY) manage.py makemigrations --check --dry-run
	$(PY) -m pytest tests/house -p no:cacheprovider

lock: $(VENV)/.dev-installed
	$(VENV)/bin/uv $(COMPILE) pyproject.toml -o requirements.txt
	$(VENV)/bin/uv $(COMPILE) pyproject.toml --extra postgres -c requirements.txt -o requirements-postgres.txt
	$(VENV)/bin/uv $(COMPILE) pyproject.toml --extra dev -c requirements.txt -o requirements-dev.txt

# The scratch copies start from the committed files, so only a real drift from pyproject.toml shows as a difference.
check-lock: $(VENV)/.dev-installed
	@scratch=$$(mktemp -d) && trap 'rm -rf "$$scratch"' EXIT && \
	cp pyproject.toml requirements.txt requirements-postgres.txt requirements-dev.txt "$$scratch" && \
	uv="$(abspath $(VENV))/bin/uv" && cd "$$scratch" && \
	"$$uv" $(COMPILE) pyproject.toml -o requirements.txt && \
	"$$uv" $(COMPILE) pyproject.toml --extra postgres -c requirements.txt -o requirements-postgres.txt && \
	"$$uv" $(COMPILE) pyproject.toml --extra dev -c requirements.txt -o requirements-dev.txt && \
	cd "$$OLDPWD" && for name in requirements.txt requirements-postgres.txt requirements-dev.txt; do \
	  diff -u "$$name" "$$scratch/$$name" || { echo "$$name does not follow from pyproject.toml: run make lock" >&2; exit 1; }; done && \
	echo 'The locks follow from pyproject.toml.'

bench: $(VENV)/.dev-installed
	@for file in bench/[a-z]*.py; do name=$${file#bench/}; \
	  echo "== $${name%.py}"; $(PY) -m "bench.$${name%.py}" $(ARGS) || exit 1; done

clean:
	rm -rf build .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache shots
	find . -name __pycache__ -type d -not -path './$(VENV)/*' -prune -exec rm -rf {} +
