"""CSV files: what is written is what was logged, in every style."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from airsense.logs.log import Log
from airsense.logs.read import read_log
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case
from tests.simulate.engines import TURBO_DIESEL, TURBO_PETROL
from tests.simulate.writing import (
    METRIC_COMMA,
    STAGGERED_CLOCK,
    STYLES,
    UNIT_ROW_MS,
    US_SEMICOLON,
    csv_text,
    write_csv,
)

CASE = Case(log_depression=True, log_maf_signal=True, circular_air_per_stroke=True)


@pytest.fixture(scope="module")
def campaign() -> SimulatedCampaign:
    return simulate_campaigns(TURBO_DIESEL, [CASE], 4)[0]


@pytest.fixture(scope="module")
def staggered() -> SimulatedCampaign:
    return simulate_campaigns(TURBO_DIESEL, [Case(staggered=True, sample_rate_hz=15.0)], 4)[0]


@pytest.mark.parametrize("style", [METRIC_COMMA, UNIT_ROW_MS])
def test_a_metric_file_reads_back_as_the_log(
    campaign: SimulatedCampaign, style: object, tmp_path: Path
) -> None:
    (path, *rest) = write_csv(campaign, tmp_path, style)  # type: ignore[arg-type]
    assert [p.name for p in (path, *rest)] == [
        *(f"before_{i}.csv" for i in (1, 2, 3)),
        *(f"after_{i}.csv" for i in (1, 2, 3)),
    ]
    written, read = campaign.before[0], read_log(path)
    assert set(read.channels) == set(written.channels)
    for name, channel in written.channels.items():
        start = channel.time_s[0]
        np.testing.assert_allclose(read[name].time_s, channel.time_s - start, atol=1.1e-3)
        np.testing.assert_allclose(
            read[name].value, channel.value, atol=0.01 * channel.resolution, err_msg=name
        )


def test_us_units_read_back_to_within_their_digits(
    campaign: SimulatedCampaign, tmp_path: Path
) -> None:
    read = read_log(write_csv(campaign.before[0], tmp_path, US_SEMICOLON)[0])
    written = campaign.before[0]
    half_digit = {
        "mass_air_flow": 0.0005 * 0.45359237 / 60.0,
        "charge_temperature": 0.05 / 1.8,
        "brake_power": 0.005 * 745.69987,
        "inlet_depression": 0.0005 * 249.08891,
        "engine_speed": 1e-9,
    }
    for name, size in half_digit.items():
        assert np.max(np.abs(read[name].value - written[name].value)) <= 1.02 * size
    barometer = np.median(written["barometric_pressure"].value)
    absolute = read["boost_pressure"].value + barometer
    np.testing.assert_allclose(absolute, written["manifold_pressure"].value, atol=0.0051 * 6894.76)


def test_us_units_without_a_barometer_stay_absolute() -> None:
    log = simulate_campaigns(TURBO_PETROL, [Case(log_barometer=False)], 1)[0].before[0]
    header = csv_text(log, US_SEMICOLON).splitlines()[0]
    assert "intake manifold absolute pressure (psi)" in header
    assert "boost" not in header


def cells(text: str, delimiter: str = ",") -> list[list[str]]:
    return list(csv.reader(text.splitlines(), delimiter=delimiter))


@pytest.mark.parametrize("style", STYLES)
def test_rows_are_as_wide_as_the_header_and_end_alike(
    campaign: SimulatedCampaign, style: object
) -> None:
    text = csv_text(campaign.before[0], style)  # type: ignore[arg-type]
    rows = cells(text, style.delimiter)  # type: ignore[attr-defined]
    assert {len(row) for row in rows} == {len(campaign.before[0].channels) + 1}
    assert text.count("\r\n") == len(rows)
    assert not any(cell == "nan" for row in rows for cell in row)


def test_decimal_commas_leave_no_point(campaign: SimulatedCampaign) -> None:
    body = csv_text(campaign.before[0], US_SEMICOLON).splitlines()[1:]
    assert not any("." in line for line in body)
    assert all("," in line for line in body)


def test_the_unit_row_stands_below_the_names(campaign: SimulatedCampaign) -> None:
    names, units, first, *_ = cells(csv_text(campaign.before[0], UNIT_ROW_MS))
    assert names[0] == "time"
    assert units[:4] == ["ms", "rpm", "g/s", "mg"]
    assert first[0].isdigit()


def refresh(log: Log, name: str) -> tuple[np.ndarray, np.ndarray]:
    rows = cells(csv_text(log, STAGGERED_CLOCK))
    column = next(i for i, head in enumerate(rows[0]) if head.startswith(log[name].header))
    clock = [row[0].split(":") for row in rows[1:]]
    time = np.array([3600.0 * int(h) + 60.0 * int(m) + float(s) for h, m, s in clock])
    return time, np.array([float(row[column]) for row in rows[1:]])


def test_staggered_rows_repeat_a_value_until_its_next_turn(staggered: SimulatedCampaign) -> None:
    log = staggered.before[0]
    time, value = refresh(log, "mass_air_flow")
    np.testing.assert_allclose(np.diff(time), 1.0 / 15.0, atol=1.1e-3)
    changed = np.flatnonzero(np.diff(value))
    # Ten channels in turn: a value holds ten rows, or twenty where two readings are equal.
    assert np.all(np.diff(changed) % len(log.channels) == 0)
    known = log["mass_air_flow"].value * 1e3
    assert set(np.round(value, 1)) <= set(np.round(known, 1))


def test_without_fill_a_staggered_log_has_gaps(staggered: SimulatedCampaign) -> None:
    rows = cells(csv_text(staggered.before[0], METRIC_COMMA))[1:]
    assert all(sum(cell != "" for cell in row) == 2 for row in rows)  # time and one channel
