"""Pure modules import, and stay pure, where there is no Django at all."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

BLOCKED = """
import sys
class NoFramework:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in {"django", "rest_framework", "celery", "kombu", "psycopg", "sqlite3"}:
            raise ImportError(f"{name} is not to be had here")
sys.meta_path.insert(0, NoFramework())
import importlib
for name in sys.argv[1:]:
    try:
        importlib.import_module(name)
    except ImportError as problem:
        print(f"{name}: {problem}")
"""


def contracted() -> list[str]:
    """The pure modules of the import contract in pyproject.toml."""
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"]
    return next(c["source_modules"] for c in contracts if c["type"] == "forbidden")


def without_django(*modules: str) -> list[str]:
    """What of these does not import where Django is blocked, each with why."""
    asked = [sys.executable, "-c", BLOCKED, *modules]
    done = subprocess.run(asked, cwd=ROOT, capture_output=True, text=True, timeout=60, check=True)
    return done.stdout.splitlines()


def test_pure_modules_import_where_django_is_blocked() -> None:
    modules = contracted()
    assert len(modules) >= 15
    assert without_django(*modules) == []


def test_the_block_blocks() -> None:
    assert [line.partition(":")[0] for line in without_django("gardens.models", "gardens.nutrients")] == [
        "gardens.models"
    ]


@pytest.mark.parametrize("name", contracted())
def test_a_pure_module_asks_neither_clock_nor_chance(name: str) -> None:
    source = (ROOT / f"{name.replace('.', '/')}.py").read_text()
    for word in ("import random", "import time", "import secrets", "date.today(", "datetime.now("):
        assert word not in source, f"{name} uses {word}"
