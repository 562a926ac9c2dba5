"""The example campaign answers what its logs were made with."""

from __future__ import annotations

from pathlib import Path

from airsense.jobs import campaign
from tests.simulate.demo import DEMO_CASE

EXAMPLE = Path(__file__).parents[2] / "examples" / "campaign_two_boxes.toml"


def test_the_example_finds_gain_and_skew_and_asks_for_the_baseline_again() -> None:
    result = campaign.run(EXAMPLE)
    (pair,) = result.pairs
    assert (pair.intake, pair.baseline) == ("open box", "stock box")
    assert pair.sensor_skew is not None
    assert pair.sensor_skew.contains(DEMO_CASE.skew)
    assert pair.airflow_change is not None
    assert pair.airflow_change.contains(0.035)  # between 3 and 4 %, as its page says
    codes = {f.code for f in result.findings}
    assert "drift_not_separable" in codes
    assert "bore_explains_skew" in codes
    # First all of one, then all of the other: what the day gave cannot be told from the box.
    assert pair.next_measurement.key == "baseline_again"
    (price,) = result.price_per_kw
    assert price.price == 420.0
    assert price.price_per_kw is None
    assert price.note
    assert [r.intake for r in result.ranking] == ["open box", "stock box"]
