"""Everything one machine needs to serve: the data folder, its lock, the socket, web and worker on a leash."""

from __future__ import annotations

import contextlib
import fcntl
import os
import secrets
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import FrameType


class CannotServe(Exception):
    """Told in one line."""


def prepare(folder: Path) -> None:
    """Make the data folder and its secret; CannotServe when nothing can be written there."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in ("queue", "queue-control", "mail"):
            (folder / name).mkdir(exist_ok=True)
        secret = folder / "secret-key"
        if not secret.exists():
            with os.fdopen(os.open(secret, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
                file.write(secrets.token_urlsafe(50))
        probe = folder / "queue" / f".probe-{os.getpid()}"
        probe.write_text("")
        probe.unlink()
    except OSError as problem:
        raise CannotServe(
            f"Nothing can be written in {folder} ({problem.strerror}). Set DATA_DIR to a folder of your own."
        ) from None


@contextlib.contextmanager
def only_one(folder: Path) -> Iterator[None]:
    """Hold the folder's lock; CannotServe when another demo holds it. The lock goes with the process."""
    with (folder / "demo.lock").open("a+") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            file.seek(0)
            who = file.read().strip() or "another process"
            raise CannotServe(
                f"The demo already runs here (process {who}). Stop it first, or set DATA_DIR to another folder."
            ) from None
        file.truncate(0)
        file.write(str(os.getpid()))
        file.flush()
        yield


def bind(host: str, port: int) -> socket.socket:
    """The listening socket, before anything else is started; CannotServe when the port is taken."""
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, port))
        sock.listen(128)
    except OSError as problem:
        sock.close()
        raise CannotServe(
            f"Port {port} on {host} cannot be had ({problem.strerror}). Try --port {port + 1}."
        ) from None
    return sock


def web_command(fd: int) -> list[str]:
    return [
        *(sys.executable, "-m", "gunicorn", "gardens.wsgi", "--bind", f"fd://{fd}"),
        *("--worker-class", "gthread", "--workers", "1", "--threads", "8", "--log-level", "warning"),
        *("--graceful-timeout", "5", "--worker-tmp-dir", "/dev/shm" if Path("/dev/shm").is_dir() else "."),
    ]


def worker_command() -> list[str]:
    return [
        *(
            sys.executable,
            "-m",
            "celery",
            "--quiet",
            "-A",
            "gardens",
            "worker",
            "--beat",
            "--concurrency",
            "1",
        ),
        *("--loglevel", "warning", "--without-gossip", "--without-mingle"),
    ]


class Children:
    """The children of one demo: each in its own session, all on one leash."""

    def __init__(self, base: Path) -> None:
        self.base = base
        self.near, self.far = os.pipe()
        os.set_inheritable(self.near, True)
        self.children: list[subprocess.Popen[bytes]] = []

    def start(self, command: list[str], keep: tuple[int, ...] = (), log: Path | None = None) -> None:
        """Start one; ``keep`` are file descriptors it inherits, ``log`` is where it writes instead of the terminal."""
        for fd in keep:
            os.set_inheritable(fd, True)
        out = log.open("ab") if log else None
        self.children.append(
            subprocess.Popen(
                [sys.executable, "-m", "gardens.leash", str(self.near), *command],
                cwd=self.base,
                env={
                    **os.environ,
                    "DJANGO_SETTINGS_MODULE": "gardens.settings",
                    "LOG_LEVEL": os.environ.get("LOG_LEVEL", "WARNING"),
                    "LEASH_KEEPS": ",".join(map(str, keep)),
                },
                pass_fds=(self.near, *keep),
                start_new_session=True,
                stdout=out,
                stderr=subprocess.STDOUT if out else None,
            )
        )
        if out:
            out.close()

    def wait(self) -> int:
        """Until one of them ends or this process is told to stop; then all are taken down."""
        stopped = False

        def stop(signum: int, frame: FrameType | None) -> None:
            nonlocal stopped
            stopped = True

        signal.signal(signal.SIGTERM, stop)
        signal.signal(signal.SIGINT, stop)
        while not stopped and all(child.poll() is None for child in self.children):
            time.sleep(0.2)
        ended = [child.returncode for child in self.children if child.poll() is not None]
        self.end()
        return 0 if stopped else (ended[0] or 1 if ended else 1)

    def end(self) -> None:
        for child in self.children:
            if child.poll() is None:
                child.terminate()
        deadline = time.monotonic() + 10
        for child in self.children:
            try:
                child.wait(timeout=max(0.1, deadline - time.monotonic()))
            except subprocess.TimeoutExpired:
                child.kill()
        with contextlib.suppress(OSError):
            os.close(self.far)
        with contextlib.suppress(OSError):
            os.close(self.near)
