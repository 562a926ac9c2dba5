"""Columns with odd names: what is suggested is right, and one correction makes the log usable."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from airsense.errors import InputError
from airsense.jobs.channels import run
from airsense.jobs.check import run as check
from airsense.logs import suggest
from airsense.logs.headers import Header
from airsense.logs.recognise import recognise

BOXES = Path(__file__).parents[2] / "examples" / "two_boxes"
LOGS = [f"{side}_{k}.csv" for side in ("before", "after") for k in (1, 2, 3)]
ODD = ("Kanal", "Sig", "Q", "Wert", "Col", "Feld", "X", "Datum Y", "Spur", "Zz", "Ww", "Vv")


def odd_log(folder: Path, log: str, spared: frozenset[str]) -> tuple[Path, dict[str, str]]:
    """Return a log whose headers keep their unit alone, and what its columns are."""
    with (BOXES / log).open(newline="") as stream:
        head, *rows = list(csv.reader(stream))
    own = recognise([Header(h) for h in head], None, where=log).matches
    truth = {}
    for name, match in own.items():
        if name == "time" or name in spared:
            continue
        unit = match.header[match.header.index("(") :]
        head[match.column] = f"{ODD[match.column % len(ODD)]}{match.column} {unit}"
        truth[head[match.column]] = name
    path = folder / log
    with path.open("w", newline="") as stream:
        csv.writer(stream).writerows([head, *rows])
    return path, truth


@pytest.mark.parametrize("log", LOGS)
@pytest.mark.parametrize(
    "spared",
    [frozenset(), frozenset({"engine_speed", "lambda", "barometric_pressure"})],
    ids=["all odd", "some plain"],
)
def test_every_suggested_line_is_right(tmp_path: Path, log: str, spared: frozenset[str]) -> None:
    path, truth = odd_log(tmp_path, log, spared)
    with pytest.raises(InputError) as refused:
        check([path], BOXES / "engine.toml")
    (told,) = [f for f in run(path).findings if f.code == "looks_like"]
    assert refused.value.fix == told.fix, "nobody has to look elsewhere"
    lines = dict(line.split(" = ") for line in told.fix.split("[channels]\n")[1].splitlines())
    suggested = {header.strip('"'): name for name, header in lines.items()}
    assert suggested == {h: truth[h] for h in suggested}
    needed = {"mass_air_flow", "manifold_pressure", "charge_temperature", "fuel_per_stroke"}
    assert needed <= set(suggested.values())
    engine = tmp_path / "engine.toml"
    text = (BOXES / "engine.toml").read_text(encoding="utf-8")
    pasted = "\n".join(f"{name} = {header}" for name, header in lines.items())
    engine.write_text(f"{text}\n[channels]\n{pasted}\n", encoding="utf-8")
    assert check([path], engine).sensor_error is not None


def test_what_is_recognised_is_not_suggested() -> None:
    assert not [f for f in run(BOXES / "before_1.csv").findings if f.code == "looks_like"]


def test_many_odd_columns_cost_one_more_look(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A wide log has dozens of temperatures: each may not be a reading of the file of its own."""
    with (BOXES / LOGS[0]).open(newline="") as stream:
        head, *rows = list(csv.reader(stream))
    head[head.index("charge air temperature (degC)")] = "Feld (degC)"
    more = [f"Kanal {k} (degC)" for k in range(40)]
    path = tmp_path / "wide.csv"
    with path.open("w", newline="") as stream:
        csv.writer(stream).writerows([[*head, *more], *([*row, *["40.0"] * 40] for row in rows)])
    looks = []
    original = suggest.open_source
    monkeypatch.setattr(suggest, "open_source", lambda c: looks.append(1) or original(c))
    (log,) = suggest.read_logs([path], None)
    assert len(log.ignored) == 41
    assert len(looks) == 1
    assert 'charge_temperature = "Feld (degC)"' in log.findings[-1].fix
