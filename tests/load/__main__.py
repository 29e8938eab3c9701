"""``python -m tests.load``: figures and ratios of one run, on PostgreSQL from its wheel. Never a verdict.

Three questions: what a collection costs beside a bare insert; what the live demand of 5,000 plantings costs
beside reading their rows; what the pages cost at two sizes.
"""

from __future__ import annotations

import os
import platform
import statistics
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

os.environ["TEST_DATABASE"] = "postgresql"
os.environ["LOG_LEVEL"] = "CRITICAL"
os.environ["DJANGO_SETTINGS_MODULE"] = "tests.load.settings"

CLIENTS, EACH, PAILS, DUE_MG = 32, 16, 8, 30_000
PASSES = 2
WORKERS, THREADS = 2, 16
PLANTINGS = 5_000
GOAL = 0.5


def main() -> None:
    began = time.monotonic()
    import django

    import tests.databases  # noqa: F401  (starts the server, sets the environment)

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    print(f"Load report. {_machine()}")
    for title, part in (
        ("Collections beside a bare insert", collections),
        (f"Live demand of {PLANTINGS:,} plantings beside reading their rows", demand),
        ("Pages at two sizes", pages),
    ):
        print(f"\n{title}")
        try:
            for line in part():
                print(f"  {line}", flush=True)
        except Exception as problem:
            print(f"  could not be measured: {type(problem).__name__}: {problem}")
    print(f"\n{time.monotonic() - began:.0f} s in all.")


def _machine() -> str:
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SHOW server_version")
        (server,) = cursor.fetchone()
        cursor.execute("SHOW fsync")
        (fsync,) = cursor.fetchone()
    return (
        f"{os.cpu_count()} cores, Python {platform.python_version()}, PostgreSQL {server} (fsync {fsync}); "
        "server and clients share them."
    )


# Collections -----------------------------------------------------------------------------------------------


@dataclass
class Pass:
    """One pass of all clients over one address."""

    seconds: float
    times: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    @property
    def rate(self) -> float:
        return len(self.times) / self.seconds

    def said(self, what: str) -> str:
        times = sorted(self.times)
        middle, slow = statistics.median(times), times[int(len(times) * 0.95)]
        return (
            f"{what:<30} {len(times):>5} answers {self.rate:>7.1f}/s   "
            f"median {middle * 1000:>6.1f} ms   95 % {slow * 1000:>6.1f} ms"
        )


def collections() -> Iterator[str]:
    """Each client has its own portions; a pail serves four clients."""
    from tests.load.scene import ready_to_hand_out
    from tests.processes import Web, session_of, surroundings

    scene = ready_to_hand_out("Load", CLIENTS * EACH * PASSES, due_mg=DUE_MG, pails=PAILS)
    session = session_of(scene.steward.user)
    bare = f"/bare/{scene.programme.pk}/"
    log = Path(os.environ["DATA_DIR"]) / "web.log"
    rates: dict[str, list[float]] = {"bare": [], "signed in": [], "collections": []}
    with Web(surroundings() | {"LOG_LEVEL": "INFO"}, log, _web_command) as web:
        _pass(web.port, session, lambda client, n: (bare, {}), each=4)  # warm
        for number in range(PASSES):
            for name, job in (
                ("bare", lambda client, n: (bare, {})),
                ("signed in", lambda client, n: (f"{bare}signed-in/", {})),
                ("collections", lambda client, n, at=number: _hand_out(scene, client, n, at)),
            ):
                done = _pass(web.port, session, job, each=EACH)
                if done.wrong:
                    raise RuntimeError(f"{name}: {len(done.wrong)} not taken, such as {done.wrong[0]}")
                rates[name].append(done.rate)
                yield done.said(_TITLES[name])
    ratios = {name: sum(rates["collections"]) / sum(rates[name]) for name in ("bare", "signed in")}
    yield f"{CLIENTS} clients, {WORKERS} workers of {THREADS} threads, {PAILS} pails"
    met = "met" if ratios["bare"] >= GOAL else "missed"
    yield f"collections / bare insert         {ratios['bare']:.2f}   goal {GOAL} or more: {met}"
    yield f"collections / signed-in insert    {ratios['signed in']:.2f}"
    yield from _books(scene)


_TITLES = {
    "bare": "bare insert",
    "signed in": "insert by somebody signed in",
    "collections": "collection at the desk",
}


def _web_command(fd: int) -> list[str]:
    from gardens import serving

    command = serving.web_command(fd)
    command[command.index("--workers") + 1] = str(WORKERS)
    command[command.index("--threads") + 1] = str(THREADS)
    return command


def _hand_out(scene: Any, client: int, n: int, at: int) -> tuple[str, dict[str, Any]]:
    import uuid

    which = (at * CLIENTS + client) * EACH + n
    fields = {
        "key": uuid.uuid4(),
        "reading": str(DUE_MG // 1000),
        "collector": scene.holders[which].pk,
        "pail": scene.pails[client % PAILS].pk,
    }
    return f"/p/{scene.programme.pk}/portions/{scene.portions[which].pk}/desk/", fields


def _pass(port: int, session: str, job: Callable[..., tuple[str, dict[str, Any]]], *, each: int) -> Pass:
    """Every client sends ``each`` requests, one by one, on one kept connection; all begin together."""
    from tests.processes import LOST, Browser

    gate = threading.Barrier(CLIENTS + 1)
    done = Pass(0)

    def client(number: int) -> None:
        browser = Browser(port, session)
        gate.wait()
        for n in range(each):
            began = time.perf_counter()
            try:
                answer = browser.post(*job(number, n))
            except LOST as problem:
                done.wrong.append(repr(problem))
                continue
            done.times.append(time.perf_counter() - began)
            if answer.status != 302:
                done.wrong.append(f"{answer.status} {answer.body[:200]}")
        browser.close()

    threads = [threading.Thread(target=client, args=(n,), daemon=True) for n in range(CLIENTS)]
    for thread in threads:
        thread.start()
    gate.wait()
    began = time.perf_counter()
    for thread in threads:
        thread.join(timeout=60)
    done.seconds = time.perf_counter() - began
    return done


def _books(scene: Any) -> Iterator[str]:
    """After all that: is every gram where it should be?"""
    from django.db.models import Sum

    from blends import ledger
    from blends.models import Place, PlaceKind
    from schedules.models import Collection

    handed = CLIENTS * EACH * PASSES
    mine = Place.objects.filter(programme=scene.programme)
    tubs = mine.filter(kind=PlaceKind.TUB).aggregate(g=Sum("balance_mg"))["g"]
    left = mine.filter(kind=PlaceKind.PAIL).aggregate(g=Sum("balance_mg"))["g"]
    right = (
        Collection.objects.filter(programme=scene.programme).count() == handed
        and tubs == handed * DUE_MG
        and tubs + left == 6_000_000 * PAILS
        and mine.aggregate(g=Sum("balance_mg"))["g"] == 0
    )
    off = ledger.disagreement_mg(scene.programme)
    yield f"masses after it: {'right' if right else 'WRONG'}; disagreement {off} mg"


# Demand ----------------------------------------------------------------------------------------------------


def demand() -> Iterator[str]:
    """Medians of five; the bare read makes the same rows into objects."""
    from gardens.models import Bed, Planting, Plot, Tenancy
    from schedules.models import Round
    from schedules.queries.plans import live_demand
    from tests.load.scene import planted

    scene, round_ = planted("Demand", PLANTINGS)
    programme = scene.programme

    def read() -> None:
        for rows in (
            Plot.objects.filter(programme=programme).select_related("garden"),
            Bed.objects.filter(programme=programme),
            Planting.objects.filter(programme=programme),
            Tenancy.objects.filter(programme=programme).select_related("household"),
        ):
            list(rows)

    bare = _median(read)
    found: list[Any] = []
    full = _median(lambda: found.append(live_demand(Round.objects.get(pk=round_.pk))))
    need = found[-1]
    yield f"reading the rows              {bare * 1000:>7.0f} ms"
    kg = f"{need.mg / 1_000_000:,.3f} kg for {need.fed:,} plots"
    yield f"live demand                   {full * 1000:>7.0f} ms   {kg}"
    yield f"reading / demand                 {bare / full:.2f}"


def _median(act: Callable[[], Any], times: int = 5) -> float:
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        act()
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)


# Pages -----------------------------------------------------------------------------------------------------


def pages() -> Iterator[str]:
    """Round, desk and totals of a programme of 60 and of 600 plots: milliseconds and queries, in process."""
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext

    from schedules.actions.desk import hand_out
    from tests.load.scene import ready_to_hand_out
    from tests.play import key

    seen: dict[str, list[str]] = {}
    for plots in (60, 600):
        scene = ready_to_hand_out(f"Pages {plots}", plots, due_mg=DUE_MG, pails=PAILS)
        for n, portion in enumerate(scene.portions[: plots // 2]):
            hand_out(
                portion=portion,
                by=scene.steward,
                pail=scene.pails[n % PAILS],
                reading_mg=DUE_MG,
                collected_by=scene.holders[n],
                key=key(),
            )
        client = Client(raise_request_exception=False, HTTP_HOST="localhost")
        client.force_login(scene.organiser.user)
        for name, path in _addresses(scene).items():
            if not path:
                seen.setdefault(name, []).append("no such page yet")
                continue
            with CaptureQueriesContext(connection) as queries:
                status = client.get(path).status_code
            asked = len(queries)
            taken = _median(partial(client.get, path))
            wrong = "" if status == 200 else f" (status {status})"
            seen.setdefault(name, []).append(f"{taken * 1000:>6.0f} ms {asked:>3} queries{wrong}")
    yield f"{'':<10} {'60 plots':<24} 600 plots"
    for name, columns in seen.items():
        yield f"{name:<10} {columns[0]:<24} {columns[1]}"


def _addresses(scene: Any) -> dict[str, str]:
    from django.urls import NoReverseMatch, reverse

    def at(name: str, *args: int) -> str:
        try:
            return reverse(name, args=[scene.programme.pk, *args])
        except NoReverseMatch:
            return ""

    return {
        "round": at("round", scene.round.pk),
        "desk": at("desk", scene.day.pk),
        "portion": at("desk_plot", scene.portions[-1].pk),
        "day": at("day", scene.day.pk),
        "totals": at("totals"),
        "week": at("week"),
    }


if __name__ == "__main__":
    main()
    sys.stdout.flush()
