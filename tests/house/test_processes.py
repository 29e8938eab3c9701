"""``kill -9`` to web, worker, demo: what was acknowledged is there once, the books agree, none is left."""

from __future__ import annotations

import datetime as dt
import html
import os
import queue
import re
import signal
import socket
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from django.urls import reverse
from django.utils import timezone

from blends import ledger
from blends.models import Movement, PlaceKind, Ticket, TicketKind
from gardens import jobs, serving, tasks
from gardens.models import Job, JobState
from schedules.models import Collection, Portion
from tests import slow_jobs
from tests.cast import make_cast, make_person, make_plot
from tests.play import Day, play_day
from tests.processes import (
    LOST,
    ROOT,
    Answer,
    Browser,
    Web,
    at_database,
    free_port,
    kill_group,
    living,
    session_of,
    start,
    surroundings,
    until,
)

pytestmark = pytest.mark.django_db(transaction=True)


# Web -------------------------------------------------------------------------------------------------------

HAND_OUTS, PORTION, STEWARDS = 300, 30_000, 8


class Stewards:
    """Eight phones that hand out 300 portions, each sent again with its key until it is acknowledged."""

    def __init__(self, day: Day, steward: Any, port: int) -> None:
        self.todo: queue.SimpleQueue[tuple[Portion, dict[str, Any]]] = queue.SimpleQueue()
        self.acknowledged: dict[int, str] = {}  # portion -> where the server said it stands
        self.keys: dict[int, uuid.UUID] = {}
        self.again = 0
        self.broken: list[object] = []
        for n, portion in enumerate(day.portions.values()):
            self.keys[portion.pk] = uuid.uuid4()
            fields = {
                "key": self.keys[portion.pk],
                "reading": "30",
                "collector": portion.household.members.all()[0].person_id,
                "pail": day.pails[n % len(day.pails)].pk,
            }
            self.todo.put((portion, fields))
        session = session_of(steward.user)
        self.threads = [
            threading.Thread(target=self._serve, args=(Browser(port, session),)) for _ in range(STEWARDS)
        ]

    def _serve(self, browser: Browser) -> None:
        while not self.broken:
            try:
                portion, fields = self.todo.get_nowait()
            except queue.Empty:
                break
            path = reverse("desk_plot", args=[portion.programme_id, portion.pk])
            for _ in range(40):
                try:
                    answer = browser.post(path, fields)
                except LOST:
                    self.again += 1
                    time.sleep(0.1)
                    continue
                if answer.status != 302:
                    self.broken.append((answer.status, answer.body[:3000]))
                self.acknowledged[portion.pk] = answer.location
                break
        browser.close()


def test_web_is_killed_three_times_during_300_collections(tmp_path: Path) -> None:
    cast = make_cast()
    with transaction.atomic():
        due = [(cast.plot, cast.household, PORTION)]
        for n in range(HAND_OUTS - 1):
            plot, _, household = make_plot(
                cast.garden, f"w{n}", make_person(cast.programme, f"W{n}", signs_in=False)
            )
            due.append((plot, household, PORTION))
        day = play_day(cast, due, pails=4)
    with Web(surroundings(), log := tmp_path / "web.log") as web:
        stewards = Stewards(day, cast.steward, web.port)
        for thread in stewards.threads:
            thread.start()
        for enough in (40, 130, 220):
            until(
                lambda n=enough: len(stewards.acknowledged) >= n or stewards.broken, 60, f"hand-out {enough}"
            )
            web.kill()
            web.start()
        for thread in stewards.threads:
            thread.join(timeout=60)
    assert not stewards.broken, (stewards.broken[0], log.read_text()[-3000:])
    stands = {
        reverse("collection", args=[c.programme_id, c.pk]): c
        for c in Collection.objects.select_related("ticket")
    }
    assert len(stewards.acknowledged) == len(stands) == HAND_OUTS
    for portion, where in stewards.acknowledged.items():
        assert (stands[where].portion_id, stands[where].ticket.key) == (portion, stewards.keys[portion])
    assert stewards.again >= 3, "nobody was in the middle of anything"
    assert [day.pail_place(n).balance_mg for n in (1, 2, 3, 4)] == [3_000_000 - 75 * PORTION] * 4
    assert Ticket.objects.filter(kind=TicketKind.HAND_OUT).count() == HAND_OUTS
    call_command("verify")


# Worker ----------------------------------------------------------------------------------------------------


@pytest.fixture
def worker(tmp_path: Path) -> Iterator[Any]:
    """``worker()`` starts one that knows the slow job; those left are killed."""
    env, started = surroundings(), []
    for old in [*(Path(env["DATA_DIR"]) / "queue").iterdir(), *(slow_jobs.begun(n) for n in (1, 2, 3))]:
        old.unlink(missing_ok=True)
    command = ["tests.slow_jobs" if word == "gardens" else word for word in serving.worker_command()]

    def one() -> subprocess.Popen[bytes]:
        started.append(start(command, env, tmp_path / "worker.log"))
        return started[-1]

    yield one
    for process in started:
        kill_group(process)


def test_a_worker_tree_killed_in_the_middle_of_a_job_leaves_it_to_be_done_once(worker: Any) -> None:
    cast = make_cast()
    waste = ledger.single(cast.programme, PlaceKind.WASTE)
    first = worker()
    job = jobs.ask(programme=cast.programme, kind=slow_jobs.KIND, key="1", by=cast.steward)
    until(slow_jobs.begun(1).exists, 30, "the job's first attempt")
    kill_group(first)
    job.refresh_from_db()
    assert (job.state, job.attempts) == (JobState.RUNNING, 1)
    assert not Movement.objects.exists()

    assert jobs.sweep() == 0  # the dead worker's lease still runs
    Job.objects.filter(pk=job.pk).update(lease_until=timezone.now() - dt.timedelta(seconds=1))
    worker()
    tasks.sweep.delay()
    until(lambda: Job.objects.filter(pk=job.pk, state=JobState.DONE).exists(), 30, "the second attempt")
    job.refresh_from_db()
    waste.refresh_from_db()
    assert (job.attempts, job.message) == (2, "moved a gram")
    assert (waste.balance_mg, Movement.objects.count()) == (1_000, 1)
    call_command("verify")


# Demo ------------------------------------------------------------------------------------------------------


class Demo:
    """``manage.py demo`` in a folder of its own, on a database of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder / "data", free_port()
        self.out = folder / "demo.log"
        drop = {"SECRET_KEY", "DATABASE_URL", "TEST_SQLITE_FILE", "DATABASE_POOL"}
        self.env = {name: value for name, value in os.environ.items() if name not in drop}
        self.env |= {"DATA_DIR": str(self.folder), "PYTHONUNBUFFERED": "1"}
        self.database = f"demo_{uuid.uuid4().hex[:8]}" if connection.vendor == "postgresql" else ""
        if self.database:
            with connection.cursor() as cursor:
                cursor.execute(f"CREATE DATABASE {self.database}")
            self.env["DATABASE_URL"] = at_database(os.environ["DATABASE_URL"], self.database)

    def start(self) -> subprocess.Popen[bytes]:
        self.out.write_text("")
        return start(self.command("--port", str(self.port)), self.env, self.out)

    def run(self, *words: str, **env: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            self.command(*words), cwd=ROOT, env=self.env | env, capture_output=True, text=True, timeout=120
        )

    def manage(self, *words: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "manage.py", *words]
        return subprocess.run(command, cwd=ROOT, env=self.env, capture_output=True, text=True, timeout=60)

    def command(self, *words: str) -> list[str]:
        return [sys.executable, "manage.py", "demo", *words]

    def said(self, words: str, seconds: float = 90) -> str:
        until(lambda: words in self.out.read_text(), seconds, f"“{words}” of the demo")
        return self.out.read_text()

    def end(self) -> None:
        for pid in living(f"DATA_DIR={self.folder}"):
            os.kill(pid, signal.SIGKILL)
        if self.database:
            with connection.cursor() as cursor:
                cursor.execute(f"DROP DATABASE IF EXISTS {self.database} WITH (FORCE)")


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Demo]:
    made = Demo(tmp_path)
    yield made
    made.end()


def hidden_and_chosen(page: Answer) -> dict[str, str]:
    """What the desk's form would send as it stands."""
    sent = {}
    for tag in re.findall(r"<input[^>]*>", page.body):
        of = dict(re.findall(r'(\w+)="([^"]*)"', tag))
        if of.get("name") and (of.get("type") == "hidden" or "checked" in tag):
            sent[of["name"]] = html.unescape(of.get("value", ""))
    for name, options in re.findall(r'<select name="(\w+)"(.*?)</select>', page.body, re.DOTALL):
        values = re.findall(r'<option value="([^"]*)"( selected)?', options)
        sent[name] = next((value for value, chosen in values if chosen), values[0][0])
    return sent


def hand_out_something(demo: Demo) -> None:
    """Sign in as the steward that the demo names, and hand 20 g to the first who is to come."""
    text = demo.said("Stop with Ctrl-C")
    password = re.search(r"the password is (\S+)", text)
    steward = re.search(r"^ +steward +(\S+)$", text, re.MULTILINE)
    assert password and steward, text
    browser = Browser(demo.port)
    login = {"username": steward[1], "password": password[1]}
    assert browser.post(reverse("login"), login).status == 302
    day = until(lambda: browser.get(reverse("desk", args=[1, 2])), 5, "the desk")
    plot = re.search(r'href="(/p/1/portions/\d+/desk/)', day.body)
    assert plot, day.body
    answer = browser.post(plot[1], hidden_and_chosen(browser.get(plot[1])) | {"reading": "20 g", "home": ""})
    assert answer.status == 302, answer.body
    browser.close()


def one_line(done: subprocess.CompletedProcess[str]) -> str:
    assert done.returncode != 0
    assert done.stderr.strip().count("\n") == 0, done.stderr
    return done.stderr.strip()


def test_a_demo_killed_however_it_stands_leaves_no_child_and_loses_nothing(demo: Demo) -> None:
    building = demo.start()
    demo.said("Building the demo programme")
    kill_group(building)

    serving_now = demo.start()
    hand_out_something(demo)
    assert len(living(f"DATA_DIR={demo.folder}")) >= 5  # demo, two leashes, web and its worker, worker
    assert "already runs here" in one_line(demo.run("--port", str(free_port())))
    os.kill(serving_now.pid, signal.SIGKILL)
    serving_now.wait(timeout=5)
    until(lambda: not living(f"DATA_DIR={demo.folder}"), 15, "the end of the last child")

    verified = demo.manage("verify")
    assert verified.returncode == 0 and "disagreement 0 mg" in verified.stdout, verified
    again = demo.run("--no-serve")
    assert again.returncode == 0, again.stderr
    assert "as it was left" in again.stdout
    assert re.search(r"handed out +0\.020 kg +1 collection", again.stdout), again.stdout
    assert again.stdout.rstrip().endswith("disagreement 0 mg")

    anew = demo.run("--no-serve", "--start-over", "--yes")
    assert anew.returncode == 0, anew.stderr
    assert "Building the demo programme" in anew.stdout
    assert re.search(r"handed out +0\.000 kg +0 collections", anew.stdout), anew.stdout


def test_a_taken_port_is_told_in_one_line(demo: Demo) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        said = one_line(demo.run("--port", str(port)))
    assert f"Port {port}" in said and f"--port {port + 1}" in said
    assert not living(f"DATA_DIR={demo.folder}")


def test_a_folder_nothing_can_be_written_in_is_told_in_one_line(demo: Demo, tmp_path: Path) -> None:
    (tmp_path / "a file").write_text("")
    assert "Set DATA_DIR" in one_line(demo.run("--no-serve", DATA_DIR=str(tmp_path / "a file" / "data")))
