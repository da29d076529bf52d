"""Settings of the test run: the practice's own, in a data directory that is thrown away.

pytest-django loads this module before any conftest, so that ``pytest`` needs nothing in its environment.
``DATABASE_URL`` still chooses PostgreSQL.
"""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

if "TEST_DATA_DIR" not in os.environ:
    # Worker and child processes find the directory here and share it; only its maker clears it away.
    os.environ["TEST_DATA_DIR"] = tempfile.mkdtemp(prefix="planner-tests-")
    atexit.register(shutil.rmtree, os.environ["TEST_DATA_DIR"], ignore_errors=True)
os.environ["DATA_DIR"] = os.environ["TEST_DATA_DIR"]
os.environ["TESTING"] = "true"
# Playwright's sync interface runs an event loop in the thread that also uses the ORM.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

from practice.settings import *  # noqa: E402, F403
from practice.settings import DATA_DIR, DATABASES, SQLITE_OPTIONS  # noqa: E402

# WhiteNoise warns of a static root that does not exist.
(Path(DATA_DIR) / "static").mkdir(parents=True, exist_ok=True)

# Argon2 takes a tenth of a second on purpose; the cast signs in hundreds of times.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    # A file, not memory: parallel writers need connections of their own. Nothing here need survive a
    # power cut, so the disk is not waited for.
    DATABASES["default"]["TEST"] = {"NAME": str(Path(DATA_DIR) / "test.sqlite3")}
    DATABASES["default"]["OPTIONS"] = SQLITE_OPTIONS | {
        "init_command": SQLITE_OPTIONS["init_command"].replace("synchronous=FULL", "synchronous=OFF")
    }
