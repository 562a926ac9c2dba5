"""The tube command: geometry's answer, in JSON and in words."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner

from airsense.cli.main import cli
from airsense.jobs.tube import run
from airsense.results import Interval
from airsense.transfer.tube import equivalent_bore
from tests.published.published import Published


def words(*args: str) -> str:
    answer = CliRunner().invoke(cli, ["tube", *args], catch_exceptions=False, standalone_mode=False)
    return " ".join(answer.output.split())


def test_the_reading_factor_is_the_area_ratio_within_the_models():
    result = run(bore_before_mm=82.0, bore_after_mm=79.2)
    # (82 / 79.2)^2 = 1.0720, plain geometry
    Published("geometry, by hand", printed="1.0720").check(result.area_factor)
    assert result.reading_factor.contains(1.0720)
    # two bores known to 0.1 mm: 2 * 1.96 * sqrt((0.1/82)^2 + (0.1/79.2)^2) = 0.69 %
    assert result.reading_factor.half_width == pytest.approx(0.0069 * 1.072, rel=0.15)


def test_by_flow_holds_reynolds_number_and_the_range_of_the_profiles():
    result = run(bore_before_mm=60.0, bore_after_mm=60.0, flows_gps=[20.0, 100.0])
    first, second = result.by_flow
    # 4 m / (pi D mu), 20 C: 2.34e4 and 1.17e5 with mu 1.813e-5
    Published("4 m / (pi D mu), by hand", printed="2.34e4").check(first.reynolds)
    Published("4 m / (pi D mu), by hand", printed="1.17e5").check(second.reynolds)
    assert first.mean_to_centre.low == pytest.approx(0.807, abs=0.001)  # power law
    assert first.mean_to_centre.high == pytest.approx(0.827, abs=0.001)  # log law
    for point in result.by_flow:
        assert point.reading_factor.contains(1.0)


def test_a_narrow_bore_reads_high_and_a_wide_one_low():
    assert run(bore_before_mm=80.0, bore_after_mm=78.0).reading_factor.low > 1.0
    assert run(bore_before_mm=80.0, bore_after_mm=82.0).reading_factor.high < 1.0


def test_the_equivalent_bore_of_a_measured_skew():
    result = run(bore_before_mm=82.0, bore_after_mm=None, skew_percent=(7.2, 1.0))
    bore = result.equivalent_bore_m
    assert bore.value == pytest.approx(0.0792, abs=5e-5)
    # d D = D / 2 * d skew / (1 + skew): 1 % is 0.37 mm; the old bore adds 0.2 mm
    assert bore.half_width == pytest.approx(np.hypot(0.37e-3, 0.19e-3), rel=0.05)
    assert "79.2 mm" in result.sentence
    assert "measure it" in result.sentence


def test_a_high_skew_is_a_narrow_bore_in_order():
    bore = equivalent_bore(0.080, Interval(0.05, 0.02, 0.08))
    assert bore.low < bore.value < bore.high < 0.080


def test_slow_flow_has_no_profile_and_is_said_to():
    result = run(bore_before_mm=80.0, bore_after_mm=78.0, flows_gps=[1.0, 100.0])
    assert np.isnan(result.by_flow[0].reading_factor.value)
    assert "not_turbulent" in {f.code for f in result.findings}
    assert np.isfinite(result.reading_factor.value)


def test_all_flows_slow_leaves_the_area():
    result = run(bore_before_mm=80.0, bore_after_mm=78.0, flows_gps=[1.0])
    assert result.reading_factor.value == pytest.approx((80.0 / 78.0) ** 2, rel=1e-12)


@pytest.mark.parametrize(
    ("straight_mm", "severity"), [(300.0, "warning"), (1200.0, "info"), (3000.0, "")]
)
def test_straight_length_against_the_standards(straight_mm, severity):
    result = run(bore_before_mm=80.0, bore_after_mm=80.0, straight_mm=straight_mm)
    assert result.straight_length.length_over_bore == pytest.approx(straight_mm / 80.0)
    # ISO 5167-2 table 3 column A and ISO 7145, single bend (from memory)
    assert result.straight_length.iso_5167_least == 6.0
    assert result.straight_length.iso_5167_most == 44.0
    assert result.straight_length.iso_7145_axis == 25.0
    found = [f for f in result.findings if f.code == "short_straight_length"]
    assert [f.severity.value for f in found] == ([severity] if severity else [])


def test_a_film_off_the_axis_is_not_the_same_as_on_it():
    on_axis = run(bore_before_mm=80.0, bore_after_mm=77.0)
    near_wall = run(bore_before_mm=80.0, bore_after_mm=77.0, film_depth_mm=15.0)
    assert near_wall.reading_factor.value > on_axis.reading_factor.value + 0.004


def test_json_is_in_si(tmp_path):
    file = tmp_path / "tube.json"
    words("--bore-before", "82", "--bore-after", "79.2", "--flow", "50", "--json", str(file))
    result = json.loads(file.read_text())
    assert result["schema"] == "airsense.tube/1"
    assert result["bore_after_m"] == pytest.approx(0.0792)
    assert result["by_flow"][0]["flow_kgps"] == pytest.approx(0.05)
    assert set(result["reading_factor"]) == {"value", "low", "high"}


def test_text_says_what_happens_and_what_is_assumed():
    text = words("--bore-before", "82", "--bore-after", "79.2", "--units", "us", "--all")
    assert "79.2 mm instead of 82.0 mm" in text
    assert "lb/min" in text
    assert "assumed" in text
    assert "caution" in text.lower()
