"""Two sensors, one a bank: their columns are added; half of the air is said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import airsense
from airsense.errors import InputError
from airsense.logs.log import Log
from airsense.logs.read import read_log

FULL_KGPS = 0.9 * 150e3 * 3.0e-3 * 3000.0 / (120.0 * 287.05 * 313.15)
ENGINE = '[engine]\ndisplacement_l = 3.0\ncylinders = 6\nignition = "spark"\n'


def frame(**air: float) -> pd.DataFrame:
    """Return a held engine; `air` are columns and their shares of what it breathes."""
    time = np.arange(0.0, 30.0, 0.1)
    wave = 1.0 + 0.02 * np.sin(time)
    columns = {
        "Time (s)": time,
        "Engine speed (rpm)": np.full(time.size, 3000.0),
        "Manifold absolute pressure (kPa)": np.full(time.size, 150.0),
        "Charge air temperature (degC)": np.full(time.size, 40.0),
    }
    shown = {name: share * 1e3 * FULL_KGPS * wave for name, share in air.items()}
    return pd.DataFrame(columns | shown)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("MAF bank 1 [g/s]", "MAF bank 2 [g/s]"),
        ("Mass air flow left [g/s]", "Mass air flow right [g/s]"),
        ("Luftmasse links [g/s]", "Luftmasse rechts [g/s]"),
        ("Air mass flow bank1 (g/s)", "Air mass flow bank2 (g/s)"),
    ],
)
def test_headers_of_two_banks_are_added(tmp_path: Path, first: str, second: str) -> None:
    path = tmp_path / "log.csv"
    table = frame(**{first: 0.52, second: 0.48})
    table.to_csv(path, index=False)
    log = read_log(path)
    total = 1e-3 * (table[first] + table[second])
    np.testing.assert_allclose(log["mass_air_flow"].value, total, rtol=1e-9)
    assert [f.code for f in log.findings].count("banks_added") == 1


def test_banks_that_read_alike_are_added_where_they_are_called_banks() -> None:
    log = Log.from_dataframe(frame(**{"MAF bank 1 [g/s]": 0.5, "MAF bank 2 [g/s]": 0.5}))
    assert log["mass_air_flow"].value.max() == pytest.approx(1.02 * FULL_KGPS, rel=1e-3)
    twice = Log.from_dataframe(frame(**{"MAF 1 [g/s]": 1.0, "MAF 2 [g/s]": 1.0}))
    assert twice["mass_air_flow"].value.max() == pytest.approx(1.02 * FULL_KGPS, rel=1e-3)


def test_the_user_names_both(tmp_path: Path) -> None:
    engine = tmp_path / "engine.toml"
    engine.write_text(
        ENGINE + '[channels]\nmass_air_flow = ["left one [g/s]", "right one [g/s]"]\n'
    )
    setup = airsense.load_engine(engine)
    table = frame(**{"left one [g/s]": 0.6, "right one [g/s]": 0.4})
    log = Log.from_dataframe(table, channels=setup.channels)
    assert log["mass_air_flow"].value.mean() == pytest.approx(FULL_KGPS, rel=2e-3)


def test_two_columns_of_anything_else_are_refused() -> None:
    table = frame(**{"MAF [g/s]": 1.0})
    with pytest.raises(InputError, match="2 columns for engine_speed") as caught:
        Log.from_dataframe(table, channels={"engine_speed": ("Engine speed (rpm)", "Time (s)")})
    assert "mass_air_flow" in caught.value.allowed


def test_half_of_the_air_is_suspected_and_said(tmp_path: Path) -> None:
    engine = tmp_path / "engine.toml"
    engine.write_text(ENGINE)
    for share, said in ((0.5, True), (1.0, False)):
        found = airsense.check([frame(**{"MAF [g/s]": share})], engine)
        assert ("half_of_the_air" in [f.code for f in found.findings]) == said
        if said:
            (told,) = [f for f in found.findings if f.code == "half_of_the_air"]
            assert 'mass_air_flow = ["' in told.fix
