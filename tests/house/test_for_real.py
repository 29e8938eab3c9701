"""What the README says under "running it for real", tried in processes of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

BASE = Path(__file__).resolve().parents[2]


def run(folder: Path, *command: str) -> str:
    env = {
        **os.environ,
        "DATA_DIR": str(folder),
        "STATIC_ROOT": str(folder / "static"),
        "SECRET_KEY": "for-real",
    }
    env.pop("DJANGO_SETTINGS_MODULE", None)
    done = subprocess.run(
        [sys.executable, *command],
        cwd=BASE,
        env=env,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


def test_collected_static_files_carry_their_digest_and_the_service_uses_those_names(tmp_path: Path) -> None:
    run(tmp_path, "manage.py", "collectstatic", "--noinput")
    assert (tmp_path / "static" / "staticfiles.json").exists()
    name = run(
        tmp_path, "manage.py", "shell", "--no-imports", "-c",
        "from django.templatetags.static import static; print(static('paper.css'))",
    ).strip()  # fmt: skip
    assert name != "/static/paper.css"
    assert (tmp_path / "static" / name.removeprefix("/static/")).exists()


def test_a_worker_started_by_hand_finds_settings_tasks_and_the_folders_of_its_queue(tmp_path: Path) -> None:
    code = "from gardens.celery import app; app.loader.import_default_modules(); print(*app.tasks)"
    assert "gardens.tasks.run_job" in run(tmp_path, "-c", code)
    assert (tmp_path / "queue").is_dir()
