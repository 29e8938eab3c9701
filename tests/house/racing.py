"""Many acts at once, each on a connection of its own."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable
from typing import Any

from django.db import close_old_connections, connection

from gardens.refusals import Refused


def rivals() -> int:
    """200 on PostgreSQL, 32 on SQLite, whose writers queue."""
    return 200 if connection.vendor == "postgresql" else 32


def race(acts: list[Callable[[], Any]]) -> Counter[str]:
    """Run all at once; how each ended, by name. Any exception but a refusal is raised here."""
    ends: list[str] = []
    broken: list[BaseException] = []
    gate = threading.Barrier(min(len(acts), 40))
    pool = threading.BoundedSemaphore(36)  # fewer than the connections of the pool

    def one(act: Callable[[], Any]) -> None:
        close_old_connections()
        try:
            if len(acts) <= 40:
                gate.wait(timeout=30)
            with pool:
                act()
                connection.close()
            ends.append("done")
        except Refused as refusal:
            ends.append(refusal.code)
        except BaseException as problem:
            broken.append(problem)
        finally:
            connection.close()

    threads = [threading.Thread(target=one, args=(act,)) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=120)
    assert not any(thread.is_alive() for thread in threads), "somebody still waits"
    if broken:
        raise broken[0]
    return Counter(ends)
