"""Small oddities of real exports, each of which reads as the plain log does."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from airsense.logs.read import read_log
from tests.log_writing import drive, save, text

COLUMNS = drive(seconds=30.0)
BASE = text(COLUMNS)
HEAD, *ROWS = BASE.splitlines()
NAMES = [h.partition(" [")[0] for h in COLUMNS]
UNITS = [h.partition(" [")[2].rstrip("]") for h in COLUMNS]
CLOCK_HEAD = HEAD.replace("Time [s]", "Time")


def retimed(head: str, write: Callable[[float], str]) -> str:
    rows = [
        f"{write(t)},{row.partition(',')[2]}"
        for t, row in zip(COLUMNS["Time [s]"], ROWS, strict=True)
    ]
    return "\n".join([head, *rows])


def lines(*parts: str | list[str]) -> str:
    return "\n".join(p if isinstance(p, str) else "\n".join(p) for p in parts) + "\n"


def midnight(t: float) -> str:
    return f"23:59:{45 + t:06.3f}" if t < 14.95 else f"00:00:{t - 15:06.3f}"


def noon(t: float) -> str:
    return f"12:59:{t + 30:06.3f} PM" if t < 29.95 else "01:00:00.000 PM"


EXPONENTS = [",".join(f"{float(x):+.6e}" for x in row.split(",")) for row in ROWS]
ODDITIES = {
    "a line that names the separator": "sep=;\n" + BASE.replace(",", ";"),
    "names, units, and a row of limits": lines(
        ",".join(NAMES), ",".join(UNITS), "min,0,0,0,0,0,0", ROWS
    ),
    "a preamble of cells with numbers": "Car,3,Run,7\nDate,2031-01-01,Driver,none\n\n" + BASE,
    "a comment within": lines(HEAD, ROWS[:100], "# marker A", ROWS[100:]),
    "minutes and seconds": retimed(CLOCK_HEAD, lambda t: f"{int(t // 60):02d}:{t % 60:04.1f}"),
    "a colon before the milliseconds": retimed(
        CLOCK_HEAD, lambda t: f"12:34:{int(t):02d}:{round(t * 1000) % 1000:03d}"
    ),
    "a comma before the milliseconds": retimed(
        CLOCK_HEAD, lambda t: f'"12:34:{t:06.3f}"'.replace(".", ",")
    ),
    "a clock of twelve hours": retimed(CLOCK_HEAD, noon),
    "a clock over midnight": retimed(CLOCK_HEAD, midnight),
    "date and time in two columns": lines(
        "Date," + CLOCK_HEAD,
        ["2031-01-02," + row for row in retimed("", lambda t: f"12:34:{t:06.3f}").splitlines()[1:]],
    ),
    "month before day": retimed(
        HEAD.replace("Time [s]", "Timestamp"), lambda t: f"03/14/2031 12:34:{t:06.3f}"
    ),
    "milliseconds since 1970": retimed(
        HEAD.replace("Time [s]", "Timestamp"), lambda t: f"{1900000000000 + round(t * 1000)}"
    ),
    "a column of row numbers": lines("#," + HEAD, [f"{i},{row}" for i, row in enumerate(ROWS)]),
    "row numbers without a name": lines("," + HEAD, [f"{i},{r}" for i, r in enumerate(ROWS)]),
    "a blank line under the units": lines(
        ",".join(NAMES), ",".join(f"[{u}]" if u else "[-]" for u in UNITS), "", ROWS
    ),
    "a summary at the end": BASE + "\nEnd of log\nRows,300\n",
    "blanks behind the delimiters": BASE.replace(",", ", "),
    "signs and exponents": lines(HEAD, EXPONENTS),
    "units with raised digits": BASE.replace("[g/s]", "[g·s⁻¹]").replace("[degC]", "[° C]"),
    "capitals": lines(HEAD.upper(), ROWS),
    "underscores": lines(HEAD.replace(" [", "_[").replace(" ", "_"), ROWS),
    "words run together": lines(HEAD.replace(" [", "[").replace(" ", ""), ROWS),
    "dots between words": lines(HEAD.replace(" [", "[").replace(" ", "."), ROWS),
    "a row of descriptions above": "Since start,Engine,Manifold,Air,Inlet,Weather,Mix\n" + BASE,
    "the header twice": HEAD + "\n" + BASE,
    "text with delimiters in quotes": lines(HEAD + ",note", [row + ',"a, b"' for row in ROWS]),
}


@pytest.mark.parametrize("name", ODDITIES)
def test_reads_as_the_plain_log(tmp_path: Path, name: str) -> None:
    log = read_log(save(tmp_path / "log.csv", ODDITIES[name]))
    expected = {
        "engine_speed": COLUMNS["Engine RPM [rpm]"],
        "manifold_pressure": COLUMNS["Intake Manifold Absolute Pressure [kPa]"] * 1e3,
        "mass_air_flow": COLUMNS["Mass Air Flow [g/s]"] * 1e-3,
        "intake_temperature": COLUMNS["Intake Air Temperature [degC]"] + 273.15,
        "barometric_pressure": COLUMNS["Barometric Pressure [kPa]"] * 1e3,
        "lambda": COLUMNS["Lambda"],
    }
    assert set(log.channels) == set(expected)
    for channel, values in expected.items():
        assert np.allclose(log[channel].value, values, rtol=1e-6), channel
        assert np.allclose(log[channel].time_s, COLUMNS["Time [s]"], atol=2e-3), channel


def test_a_lambda_without_a_unit_needs_no_remark(tmp_path: Path) -> None:
    log = read_log(save(tmp_path / "log.csv", BASE))
    assert log.findings == ()


def test_a_lambda_that_holds_air_fuel_ratios_is_scaled_and_said(tmp_path: Path) -> None:
    columns = COLUMNS | {"Lambda": COLUMNS["Lambda"] * 14.7}
    log = read_log(save(tmp_path / "log.csv", text(columns)))
    assert np.allclose(log["lambda"].value, COLUMNS["Lambda"])
    assert {f.code for f in log.findings} == {"unit_assumed", "afr_scale_assumed"}
