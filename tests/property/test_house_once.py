"""What is the same stands once: constants, functions."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).parents[2]


def _constants() -> dict[tuple[str, str], list[str]]:
    """Return the modules that give a name of a constant one value, by name and value."""
    found: dict[tuple[str, str], list[str]] = {}
    for path in (ROOT / "airsense").rglob("*.py"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                name = node.targets[0].id.lstrip("_")
                if name.isupper():
                    key = (name, ast.unparse(node.value))
                    found.setdefault(key, []).append(path.relative_to(ROOT).as_posix())
    return found


def test_a_constant_stands_once() -> None:
    twice = {key: where for key, where in _constants().items() if len(where) > 1}
    # How many draws, and names that only happen to be alike.
    of_their_own = {"DRAWS", "MIN_BINS", "MOST_NAMED"}
    assert not {key: where for key, where in twice.items() if key[0] not in of_their_own}


def test_no_function_is_written_twice() -> None:
    bodies: dict[str, list[str]] = {}
    for path in (ROOT / "airsense").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef):
                lines = [n for n in node.body if not _is_text(n)]
                if len(lines) > 1:
                    text = "\n".join(map(ast.unparse, lines))
                    bodies.setdefault(text, []).append(f"{path.relative_to(ROOT)}: {node.name}")
    assert not [where for where in bodies.values() if len(where) > 1]


def _is_text(node: ast.stmt) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
