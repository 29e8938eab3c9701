"""Real processes on the tests' own database: web and worker as the demo starts them, killed as fate does."""

from __future__ import annotations

import http.client
import os
import signal
import socket
import subprocess
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit

from gardens import serving

ROOT = Path(__file__).resolve().parents[1]
CSRF = "c" * 32
LOST = (http.client.HTTPException, ConnectionError, TimeoutError)


def surroundings() -> dict[str, str]:
    """The environment of a child that shall work on the database of the running test."""
    from django.conf import settings
    from django.db import connection

    folder = Path(settings.DATA_DIR)
    serving.prepare(folder)
    name = str(connection.settings_dict["NAME"])
    more = {"DATA_DIR": str(folder)}
    if connection.vendor == "sqlite":
        with suppress(FileExistsError):
            (folder / "mixing-day.sqlite3").symlink_to(name)
    else:
        more["DATABASE_URL"] = at_database(os.environ["DATABASE_URL"], name)
    return {"DJANGO_SETTINGS_MODULE": "gardens.settings", **os.environ, **more}


def at_database(url: str, name: str) -> str:
    """The same server, another database."""
    return urlsplit(url)._replace(path=f"/{name}").geturl()


def start(
    command: list[str], env: dict[str, str], log: Path, keep: tuple[int, ...] = ()
) -> subprocess.Popen[bytes]:
    """A child at the head of its own process group, writing to ``log``."""
    with log.open("ab") as out:
        return subprocess.Popen(
            command,
            cwd=ROOT,
            env=env,
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            pass_fds=keep,
        )


def kill_group(process: subprocess.Popen[bytes]) -> None:
    """``kill -9`` to the process and everything in its group, at once."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait(timeout=10)


def until(true: Callable[[], Any], seconds: float, what: str) -> Any:
    """Wait until ``true()`` is; its value."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if value := true():
            return value
        time.sleep(0.05)
    raise AssertionError(f"{what} did not happen within {seconds:.0f} s")


def living(mark: str) -> list[int]:
    """Processes with ``mark`` in their environment: a demo and its children, wherever they have gone."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            if mark.encode() in (folder / "environ").read_bytes():
                found.append(int(folder.name))
    return found


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class Answer:
    status: int
    location: str
    body: str


class Browser:
    """One signed-in person on one kept connection."""

    def __init__(self, port: int, session: str = "", *, timeout: float = 20) -> None:
        self.session, self.cookies = session, {"csrftoken": CSRF}
        if session:
            self.cookies["sessionid"] = session
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=timeout)

    def get(self, path: str) -> Answer:
        return self._ask("GET", path, None)

    def post(self, path: str, fields: dict[str, Any]) -> Answer:
        return self._ask("POST", path, urlencode(fields))

    def close(self) -> None:
        self.connection.close()

    def _ask(self, method: str, path: str, body: str | None) -> Answer:
        headers = {
            "Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items()),
            "X-CSRFToken": CSRF,
            "Content-Type": "application/x-www-form-urlencoded",
        }
        try:
            self.connection.request(method, path, body, headers)
            answer = self.connection.getresponse()
            text = answer.read().decode()
        except LOST:
            self.connection.close()
            raise
        for header in answer.headers.get_all("Set-Cookie") or ():
            name, _, value = header.partition(";")[0].partition("=")
            if name == "sessionid":
                self.cookies[name] = value
        return Answer(answer.status, answer.headers.get("Location", ""), text)


def session_of(user: Any) -> str:
    """A session cookie of somebody signed in."""
    from django.test import Client

    client = Client()
    client.force_login(user)
    return client.cookies["sessionid"].value


class Web:
    """Web on a port of its own; the socket outlives it, so clients of a killed one wait for the next."""

    def __init__(
        self, env: dict[str, str], log: Path, command: Callable[[int], list[str]] = serving.web_command
    ) -> None:
        self.env, self.log, self.command = env, log, command
        self.socket = serving.bind("127.0.0.1", 0)
        self.port = int(self.socket.getsockname()[1])
        self.process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Web:
        self.start()
        return self

    def __exit__(self, *what: object) -> None:
        self.kill()
        self.socket.close()

    def start(self) -> None:
        fd = self.socket.fileno()
        self.process = start(self.command(fd), self.env, self.log, keep=(fd,))
        browser = Browser(self.port, timeout=30)
        try:
            assert browser.get("/healthz").status == 200, self.log.read_text()
        except BaseException:
            self.kill()
            raise
        finally:
            browser.close()

    def kill(self) -> None:
        if self.process:
            kill_group(self.process)
        self.process = None
