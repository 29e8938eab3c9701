"""The doorbell on Redis: heard at once where it rings, and nothing is lost where it does not.

Outside the default run; needs ``redis-server``: ``TEST_DATABASE=sqlite pytest tests/broker --dist no -n0``.
"""

from __future__ import annotations

import datetime as dt
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from gardens import jobs, serving, tasks
from gardens.celery import app
from gardens.models import Job, JobState
from schedules.actions.rounds import FREEZE, open_round
from schedules.models import Round, RoundState
from tests.cast import make_cast
from tests.play import make_revision
from tests.processes import free_port, kill_group, start, surroundings, until

pytestmark = pytest.mark.django_db(transaction=True)


class Redis:
    """A server of its own, keeping nothing on disk."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def start(self) -> None:
        import redis

        server = shutil.which("redis-server")
        assert server, "redis-server is not installed"
        words = ["--port", str(self.port), "--bind", "127.0.0.1", "--save", "", "--dir", str(self.folder)]
        self.process = start([server, *words], {}, self.folder / "redis.log")

        def answers() -> bool:
            try:
                return bool(redis.Redis(port=self.port).ping())
            except redis.ConnectionError:
                return False

        until(answers, 10, "Redis")

    def kill(self) -> None:
        if self.process:
            kill_group(self.process)
        self.process = None


@pytest.fixture
def redis_server(tmp_path: Path) -> Iterator[Redis]:
    """Redis, and this process rings there."""
    server = Redis(tmp_path)
    server.start()
    was = app.conf.broker_url, app.conf.broker_transport_options
    _ring_at(server.url, {})
    yield server
    _ring_at(*was)
    server.kill()


def _ring_at(url: str, options: dict[str, Any]) -> None:
    app.conf.update(broker_url=url, broker_transport_options=options)
    app._pool = None
    app.amqp._producer_pool = None


@pytest.fixture
def worker(redis_server: Redis, tmp_path: Path) -> Iterator[Callable[..., None]]:
    """``worker()`` starts one on Redis; without ``beat`` it hears the doorbell and nothing else."""
    started: list[subprocess.Popen[bytes]] = []

    def one(*, beat: bool = False) -> None:
        command = [word for word in serving.worker_command() if beat or word != "--beat"]
        started.append(
            start(command, surroundings() | {"BROKER_URL": redis_server.url}, tmp_path / "worker.log")
        )

    yield one
    for process in started:
        kill_group(process)


@pytest.fixture
def cast(transactional_db: None) -> Any:
    return make_cast()


def open_round_to_freeze_now(cast: Any) -> Round:
    """A round whose time to freeze has come."""
    return open_round(
        programme=cast.programme,
        by=cast.organiser,
        gardens=[cast.garden],
        first_day=dt.date(2026, 6, 1),
        weeks=4,
        revision=make_revision(cast.programme, cast.organiser),
        freeze_at=timezone.now(),
    )


def is_frozen(round_: Round) -> bool:
    return Round.objects.filter(pk=round_.pk, state=RoundState.FROZEN).exists()


def test_a_round_whose_time_has_come_is_frozen_by_the_worker(cast: Any, worker: Any) -> None:
    worker()
    round_ = open_round_to_freeze_now(cast)
    until(lambda: is_frozen(round_), 30, "the freeze")
    assert round_.portions.get().demand_mg == 54_432
    until(lambda: not Job.objects.filter(kind=FREEZE).exclude(state=JobState.DONE).exists(), 10, "the mark")


def test_tonights_check_of_the_books_is_asked_and_done_once(cast: Any, worker: Any) -> None:
    worker()
    tasks.nightly.delay()
    tasks.nightly.delay()
    done = Job.objects.filter(kind="verify", state=JobState.DONE)
    until(lambda: done.count() == 2, 30, "the check of both programmes")
    assert Job.objects.count() == 2
    assert {job.attempts for job in done} == {1}
    assert all("agrees" in job.message for job in done)


def test_a_job_whose_message_was_lost_is_found_by_the_sweep(cast: Any, worker: Any) -> None:
    round_ = open_round_to_freeze_now(cast)
    assert app.control.purge() == 1
    worker(beat=True)
    until(lambda: is_frozen(round_), 45, "the sweep")


def test_asking_neither_fails_nor_hangs_while_nobody_answers_the_door(
    cast: Any, redis_server: Redis, worker: Any
) -> None:
    redis_server.kill()
    began = time.monotonic()
    round_ = open_round_to_freeze_now(cast)
    assert time.monotonic() - began < 10
    assert Job.objects.get(kind=FREEZE).state == JobState.DUE
    assert jobs.sweep() == 1
    assert is_frozen(round_)
