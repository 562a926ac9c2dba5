"""Most tests of physics name a text or a library that a reader can find."""

from __future__ import annotations

import ast
import re
from pathlib import Path

from tests.published.references import REFERENCES

TESTS = Path(__file__).parents[1]
SUBJECTS = (
    "air",
    "align",
    "atmosphere",
    "boost_control",
    "breathing",
    "charge",
    "duct",
    "exhaust",
    "fuel",
    "hot_film",
    "real_gas",
    "standard_power",
)
# Routes and words that begin with the same word.
NO_PHYSICS = ("test_fuel_trims",)
# Functions of the libraries, by the name under which a test calls them.
LIBRARIES = {
    "PropsSI": "CoolProp",
    "HAPropsSI": "CoolProp",
    "psychrolib": "PsychroLib",
    "ambiance": "ambiance",
    "cantera": "cantera",
    "fluids": "fluids'",
    "gaussian_filter1d": "scipy",
    "lsim": "scipy",
}
NAMES = re.compile("|".join(re.escape(name) for name in (*REFERENCES, *LIBRARIES)))
LEAST_SHARE = 0.60


def physics_files() -> list[Path]:
    """Return the test modules of physics."""
    return sorted(
        path
        for path in (*TESTS.glob("published/test_*.py"), *TESTS.glob("property/test_*.py"))
        if path.stem.removeprefix("test_").startswith(SUBJECTS) and path.stem not in NO_PHYSICS
    )


def cases_of(path: Path) -> dict[str, str]:
    """Return each test's text, with that of the module's names that it uses.

    What only refuses arguments is no test of physics.
    """
    text = path.read_text(encoding="utf-8")
    body = ast.parse(text).body
    shared: dict[str, str] = {}
    own: dict[str, str] = {}
    for node in body:
        lines = ast.get_source_segment(text, node) or ""
        if isinstance(node, ast.FunctionDef):
            marks = [ast.get_source_segment(text, mark) or "" for mark in node.decorator_list]
            kept = own if node.name.startswith("test_") else shared
            kept[node.name] = "\n".join([*marks, lines])
        elif isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            shared[node.targets[0].id] = lines
    return {
        name: _with_what_it_uses(lines, shared)
        for name, lines in own.items()
        if "pytest.raises" not in lines
    }


def _with_what_it_uses(lines: str, shared: dict[str, str]) -> str:
    """Return a text with those of the module's names in it, and of the names in these."""
    used: dict[str, str] = {}
    todo = [lines]
    while todo:
        words = set(re.findall(r"\w+", todo.pop()))
        new = {k: s for k, s in shared.items() if k in words and k not in used}
        used |= new
        todo += new.values()
    return "\n".join([lines, *used.values()])


def test_three_in_five_tests_of_physics_name_their_source() -> None:
    all_tests = {
        f"{path.stem}.{k}": v for path in physics_files() for k, v in cases_of(path).items()
    }
    assert len(all_tests) > 150
    without = [name for name, text in all_tests.items() if not NAMES.search(text)]
    share = 1.0 - len(without) / len(all_tests)
    assert share >= LEAST_SHARE, f"{share:.0%} name a source; not these: {', '.join(without)}"


def test_a_test_without_a_source_is_seen() -> None:
    assert not NAMES.search("def test_x():\n    assert density(1e5) > 1.0")
    assert NAMES.search('Published(HEYWOOD, "4.773")\nHEYWOOD = "Heywood 1988"')
