"""The recipes of DEVELOPERS.md, followed in a copy: a route, a log format, a cause, a command."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
BOXES = ROOT / "examples" / "two_boxes"


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """Return a copy of the package with its reference data and the schema writer."""
    skip = shutil.ignore_patterns("__pycache__")
    for name in ("airsense", "reference_data"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=skip)
    (tmp_path / "tests").mkdir()
    for name in ("__init__.py", "report_schemas.py"):
        shutil.copy(ROOT / "tests" / name, tmp_path / "tests" / name)
    return tmp_path


def edit(path: Path, old: str, new: str) -> None:
    """Replace a text that stands once."""
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {path.name}"
    path.write_text(text.replace(old, new), encoding="utf-8")


def run(copy: Path, *words: str) -> str:
    """Run python in the copy and return what it printed."""
    done = subprocess.run(
        [sys.executable, *words],
        cwd=copy,
        env={**os.environ, "PYTHONPATH": str(copy)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


def airsense(copy: Path, *words: str) -> str:
    """Run the command line of the copy."""
    return run(copy, "-c", "from airsense.cli.main import main; main()", *words)


def compared(copy: Path) -> dict[str, object]:
    """Compare one pull with one, and return the pair; its page is written too."""
    result, page = copy / "r.json", copy / "r.html"
    airsense(
        copy, "compare", "--engine", str(BOXES / "engine.toml"),
        "--before", str(BOXES / "before_1.csv"), "--after", str(BOXES / "after_1.csv"),
        "--json", str(result), "--report", str(page),
    )  # fmt: skip
    airsense(copy, "report", str(result), "--report", str(copy / "again.html"))
    assert "</html>" in (copy / "again.html").read_text(encoding="utf-8")
    pair: dict[str, object] = json.loads(result.read_text(encoding="utf-8"))["pairs"][0]
    return pair


def test_a_route_is_one_file_and_one_row(copy: Path) -> None:
    (copy / "airsense" / "estimates" / "wishful.py").write_text(
        '''"""A route for a test: what passes the sensor, by the speed alone."""

from __future__ import annotations

from airsense.arrays import BoolArray
from airsense.estimates.defaults import Defaults
from airsense.estimates.driven import Driven
from airsense.estimates.estimate import Estimate, Influence
from airsense.estimates.run import Run
from airsense.setup.engine import EngineSetup

METHOD = "wishful"


def missing_for_wishful(run: Run) -> str:
    """Return what the route lacks."""
    return "" if run.mdot_fuel_kgps is not None else "no fuel"


def holds(driven: Driven) -> BoolArray:
    """Return where full load was driven."""
    return driven.pulled


def wishful(run: Run, setup: EngineSetup, sizes: Defaults) -> Estimate:
    """Estimate by fuel alone."""
    own = Influence(key="wish", label="a wish", absolute=0.05, run=0.02, between=0.02)
    assert run.mdot_fuel_kgps is not None
    return Estimate(method=METHOD, mdot_kgps=20.0 * run.mdot_fuel_kgps, budget=(own,))
''',
        encoding="utf-8",
    )
    routes = copy / "airsense" / "estimates" / "routes.py"
    edit(routes, "    speed_density,\n)\n", "    speed_density,\n    wishful,\n)\n")
    edit(
        routes,
        "ROUTES = (\n",
        "ROUTES = (\n    Route(method=wishful.METHOD, missing=wishful.missing_for_wishful, "
        "estimate=wishful.wishful, holds=wishful.holds),\n",
    )
    estimates = compared(copy)["estimates"]
    assert isinstance(estimates, list)
    assert ("wishful", True) in [(e["method"], e["used"]) for e in estimates]


def test_a_log_format_is_one_file_and_one_row(copy: Path) -> None:
    logs = copy / "airsense" / "logs"
    (logs / "tilde_file.py").write_text(
        '''"""A format for a test: a table whose columns are parted by tildes."""

from __future__ import annotations

import io
from dataclasses import replace

from airsense.logs import csv_file
from airsense.logs.container import Content
from airsense.logs.source import Source

MARK = b"#tilde\\n"


def accepts(head: bytes) -> bool:
    """Whether the mark stands first."""
    return head.startswith(MARK)


def open_source(content: Content) -> Source:
    """Read it as a table with commas."""
    with content.opener() as stream:
        plain = stream.read().removeprefix(MARK).replace(b"~", b",")
    own = replace(content, opener=lambda: io.BytesIO(plain), head=plain[:4096], file=None)
    return csv_file.open_source(own)
''',
        encoding="utf-8",
    )
    edit(
        logs / "registry.py",
        '    ("csv", "airsense.logs.csv_file"),',
        '    ("tilde", "airsense.logs.tilde_file"),\n    ("csv", "airsense.logs.csv_file"),',
    )
    table = (BOXES / "before_1.csv").read_bytes()
    log = copy / "log.tld"
    log.write_bytes(b"#tilde\n" + table.replace(b",", b"~"))
    airsense(copy, "channels", str(log), "--json", str(copy / "c.json"))
    found = json.loads((copy / "c.json").read_text(encoding="utf-8"))
    assert found["reader"] == "tilde"
    assert {"engine_speed", "mass_air_flow"} <= {c["name"] for c in found["channels"]}


def test_a_word_and_a_spelling_are_rows_of_tables(copy: Path) -> None:
    tables = copy / "reference_data"
    with (tables / "header_words.csv").open("a", encoding="utf-8") as words:
        words.write("engine_speed,trade,no,whirl\n")
    edit(tables / "unit_spellings.csv", "\nmillibar,", "\nmillibar,mbarish ")
    log = copy / "log.csv"
    rows = "".join(f"{k / 10:.1f},{1500 + k},{990 + k % 3},20\n" for k in range(80))
    log.write_text("time (s),whirl (rpm),barometer (mbarish),maf (g/s)\n" + rows, "utf-8")
    airsense(copy, "channels", str(log), "--json", str(copy / "c.json"))
    found = {c["name"]: c for c in json.loads((copy / "c.json").read_text("utf-8"))["channels"]}
    assert {"engine_speed", "barometric_pressure"} <= set(found)
    assert found["barometric_pressure"]["low"] == pytest.approx(99_000.0)


def test_a_cause_is_a_name_a_row_a_function_and_its_words(copy: Path) -> None:
    package = copy / "airsense"
    edit(
        package / "cause.py",
        '    LAMBDA_SCALE = "lambda_scale"\n',
        '    LAMBDA_SCALE = "lambda_scale"\n    TIRED_CLOCK = "tired_clock"\n',
    )
    edit(
        package / "evidence" / "priors.py",
        "FAULT_PRIORS = (\n",
        "FAULT_PRIORS = (\n    Prior(\n        cause=Cause.TIRED_CLOCK, probability=0.02, "
        'size=0.03, reason="a crystal that ages"\n    ),\n',
    )
    signatures = package / "evidence" / "signatures.py"
    edit(
        signatures,
        "_EFFECTS: dict",
        "def _tired_clock(seen: Observed, prior: Prior) -> tuple[Effect, ...]:\n"
        "    return (_effect(seen, [_ones(seen)], [1.0], (speed_density.METHOD,)),)\n\n\n"
        "_EFFECTS: dict",
    )
    edit(
        signatures,
        "    Cause.LAMBDA_SCALE: _lambda_scale,\n",
        "    Cause.LAMBDA_SCALE: _lambda_scale,\n    Cause.TIRED_CLOCK: _tired_clock,\n",
    )
    edit(
        package / "report" / "words.py",
        '    "lambda_scale": "lambda off",\n',
        '    "lambda_scale": "lambda off",\n    "tired_clock": "clock off",\n',
    )
    run(copy, "-m", "tests.report_schemas")
    compared(copy)
    priors = json.loads((copy / "r.json").read_text(encoding="utf-8"))["priors"]
    assert [p["probability"] for p in priors if p["cause"] == "tired_clock"] == [0.02]
    engine = copy / "engine.toml"
    engine.write_text(
        (BOXES / "engine.toml").read_text(encoding="utf-8")
        + "\n[priors.tired_clock]\nprobability = 0.5\n",
        encoding="utf-8",
    )
    airsense(copy, "check", str(BOXES / "before_1.csv"), "--engine", str(engine))


def test_a_command_is_one_file_and_one_line(copy: Path) -> None:
    cli = copy / "airsense" / "cli"
    (cli / "echo.py").write_text(
        '"""airsense echo: for a test."""\n\nimport click\n\n\n@click.command()\n'
        '@click.argument("word")\ndef command(word: str) -> None:\n    """Say WORD."""\n'
        "    click.echo(word)\n",
        encoding="utf-8",
    )
    edit(cli / "main.py", '    "demo": "', '    "echo": "say a word",\n    "demo": "')
    assert "say a word" in airsense(copy, "--help")
    assert airsense(copy, "echo", "air").strip() == "air"


def test_the_map_of_the_house_names_what_is_there() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    drawn = text.split("```")[1]
    rooms = {
        line.strip().split("/")[0]
        for line in drawn.splitlines()
        if line.startswith("  ") and not line.startswith("   ") and "/" in line
    }
    own = ROOT / "airsense"
    there = {p.name for p in own.iterdir() if p.is_dir() and p.name != "__pycache__"}
    assert rooms == there
