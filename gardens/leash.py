"""``python -m gardens.leash FD COMMAND…`` runs a command until it ends, it is told to stop, or the pipe FD closes.

The pipe is the leash: its other end is held by ``manage.py demo``; when that dies, however it dies, the pipe closes and
the command's whole process group is taken down.
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
from types import FrameType


def run(leash: int, command: list[str], keep: tuple[int, ...] = ()) -> int:
    """Returns the command's exit code. TERM goes to the command's leader only; the group is killed if it lingers."""
    child = subprocess.Popen(command, start_new_session=True, pass_fds=keep)

    def stop(signum: int = signal.SIGTERM, frame: FrameType | None = None) -> None:
        with contextlib.suppress(ProcessLookupError):
            child.terminate()

    def watch() -> None:
        with contextlib.suppress(OSError):
            while os.read(leash, 64):
                pass
        stop()
        try:
            child.wait(timeout=8)
        except subprocess.TimeoutExpired:
            _kill_group(child.pid)

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=watch, daemon=True).start()
    try:
        return child.wait()
    finally:
        _kill_group(child.pid)


def _kill_group(pid: int) -> None:
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(pid, signal.SIGKILL)


if __name__ == "__main__":
    inherited = tuple(int(n) for n in os.environ.pop("LEASH_KEEPS", "").split(",") if n)
    sys.exit(run(int(sys.argv[1]), sys.argv[2:], inherited))
