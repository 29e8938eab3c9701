"""A site of its own for a browser: a data folder, the demo in it or nothing, and the web process serving it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from gardens import serving

ROOT = Path(__file__).resolve().parents[2]
DATABASE = "mixing-day.sqlite3"


def surroundings(folder: Path) -> dict[str, str]:
    """The environment of a process that works on ``folder``."""
    env = {
        name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "TEST_SQLITE_FILE")
    }
    return {
        **env,
        "DJANGO_SETTINGS_MODULE": "gardens.settings",
        "DATA_DIR": str(folder),
        "LOG_LEVEL": "ERROR",
    }


def manage(folder: Path, *words: str) -> str:
    """What ``manage.py`` says; its failure is ours."""
    done = subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=ROOT,
        env=surroundings(folder),
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def empty_site(folder: Path) -> Path:
    """Tables and nothing in them."""
    serving.prepare(folder)
    manage(folder, "migrate", "--verbosity", "0")
    return folder


def demo_site(folder: Path) -> Path:
    """The demo as its first start leaves it."""
    folder.mkdir(parents=True, exist_ok=True)
    manage(folder, "demo", "--no-serve")
    return folder


def copy_site(source: Path, folder: Path) -> Path:
    """A site that stands as ``source`` does (nobody may be serving that one)."""
    serving.prepare(folder)
    shutil.copy(source / DATABASE, folder / DATABASE)
    return folder


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """The address of the web process over ``folder``; the process ends with the block."""
    sock = serving.bind("127.0.0.1", 0)
    fd = sock.fileno()
    os.set_inheritable(fd, True)
    address = f"http://127.0.0.1:{sock.getsockname()[1]}"
    log = folder / "web.log"
    with log.open("ab") as out:
        web = subprocess.Popen(
            serving.web_command(fd),
            cwd=ROOT,
            env=surroundings(folder),
            pass_fds=(fd,),
            stdout=out,
            stderr=out,
        )
    try:
        _await(address, web, log)
        yield address
    finally:
        web.terminate()
        with suppress(subprocess.TimeoutExpired):
            web.wait(timeout=10)
        web.kill()
        web.wait()
        sock.close()


def _await(address: str, web: subprocess.Popen[bytes], log: Path) -> None:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        assert web.poll() is None, log.read_text()
        with suppress(OSError), urllib.request.urlopen(address + "/healthz", timeout=60) as answer:
            assert answer.status == 200
            return
        time.sleep(0.1)
    raise AssertionError(f"the web did not answer: {log.read_text()}")
