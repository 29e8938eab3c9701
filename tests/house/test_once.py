"""What a function says is said in one place."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def said(function: ast.FunctionDef) -> str:
    """What the function does, whatever it and its annotations are called; its docstring left out."""
    body = function.body[1:] if ast.get_docstring(function) else function.body
    names = [argument.arg for argument in function.args.args]
    return f"{function.name}{names}{[ast.dump(statement) for statement in body]}"


def test_no_function_of_the_gardens_plans_stands_in_two_modules() -> None:
    homes: dict[str, list[str]] = defaultdict(list)
    for module in sorted((ROOT / "schedules").rglob("*.py")):
        for node in ast.parse(module.read_text()).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                homes[said(node)].append(f"{module.relative_to(ROOT)}:{node.name}")
    assert [places for places in homes.values() if len(places) > 1] == []
