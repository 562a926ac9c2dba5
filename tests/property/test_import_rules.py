"""Imports go down the list of layers only, and the light entry points stay light."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "airsense"
# The ways in, side by side: neither knows of the other.
FRONT_DOORS = {"api", "cli"}
LAYERS = (
    "serve",
    "jobs",
    "report",
    "claims",
    "transfer",
    "evidence",
    "estimates",
    "logs",
    "setup",
    "physics",
)
SIMULATE = PACKAGE.parent / "tests" / "simulate"
# The forward model of the tests may use data types and physics, and nothing that judges.
SIMULATE_MAY_IMPORT = {"logs", "setup", "physics"}
BASE = {"arrays", "cause", "units", "errors", "results", "reading", "reference", "__version__"}
HEAVY = ("CoolProp", "matplotlib", "pandas", "scipy", "pint", "pydantic", "numpy")


def imported(path: Path) -> set[str]:
    """Return the second part of each `airsense.X` that a module imports when it runs."""
    found = set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for_types_only = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if id(node) in for_types_only:
            continue
        if isinstance(node, ast.ImportFrom) and node.module:
            parts = node.module.split(".")
            if parts[0] == "airsense":
                found |= {parts[1]} if len(parts) > 1 else {a.name for a in node.names}
        elif isinstance(node, ast.Import):
            for alias in node.names:
                parts = alias.name.split(".")
                if parts[0] == "airsense" and len(parts) > 1:
                    found.add(parts[1])
    return found


MODULES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_module_imports_only_what_lies_below_it(path: Path) -> None:
    relative = path.relative_to(PACKAGE)
    layer = relative.parts[0]
    found = imported(path) - BASE
    if layer in FRONT_DOORS:
        allowed = {layer, *LAYERS}
    elif layer in LAYERS:
        allowed = set(LAYERS[LAYERS.index(layer) :])
    else:
        allowed = set()
    assert found <= allowed, f"{relative} may not import {sorted(found - allowed)}"


@pytest.mark.parametrize("path", sorted(SIMULATE.rglob("*.py")), ids=lambda p: p.stem)
def test_the_forward_model_shares_no_judgement(path: Path) -> None:
    found = imported(path) - BASE
    assert found <= SIMULATE_MAY_IMPORT, sorted(found - SIMULATE_MAY_IMPORT)


def test_the_rule_sees_an_upward_import(tmp_path: Path) -> None:
    file = tmp_path / "x.py"
    file.write_text("from airsense.jobs.check import run\nimport airsense.cli.main\n")
    assert imported(file) == {"jobs", "cli"}


@pytest.mark.parametrize(
    "code",
    [
        "import airsense",
        "import airsense; airsense.compare, airsense.plan, airsense.InputError",
        "from airsense.cli.main import cli; cli(['--help'], standalone_mode=False)",
    ],
)
def test_entry_points_load_nothing_heavy(code: str) -> None:
    probe = f"{code}\nimport sys\nprint([m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip().splitlines()[-1] == "[]"
