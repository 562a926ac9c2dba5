"""The compressor-map route in comparisons of known change, skew and drifted pressure sensor."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from airsense.cause import Cause
from airsense.errors import InputError
from airsense.estimates.compressor_map import METHOD
from airsense.evidence.priors import PRESSURE_CAUSES
from airsense.evidence.verdict import Verdict
from airsense.jobs.compare import compare_logs, run
from airsense.jobs.comparison.result import EstimateRow, PairResult
from airsense.logs.log import Log
from airsense.setup.engine import CompressorMap, EngineSetup
from tests.compressor_maps import with_turbo_speed, write_map
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case
from tests.simulate.demo import engine_toml
from tests.simulate.engines import TURBO_DIESEL
from tests.simulate.writing import write_csv

pytestmark = pytest.mark.slow

BOOST = 0.03
T_INLET_K = 295.0


@pytest.fixture(scope="module")
def made() -> SimulatedCampaign:
    """A real gain, no skew; before any skew is put in, the reading is the true flow."""
    return simulate_campaigns(TURBO_DIESEL, [Case(absolute_errors=0.0, boost_change=BOOST)], 3)[0]


@pytest.fixture(scope="module")
def setup(tmp_path_factory: pytest.TempPathFactory, made: SimulatedCampaign) -> EngineSetup:
    path = write_map(tmp_path_factory.mktemp("map"))
    return made.setup.model_copy(update={"compressor_map": CompressorMap(file=str(path))})


def turned(logs: Sequence[Log]) -> list[Log]:
    return [
        with_turbo_speed(log, log.at("mass_air_flow", log["manifold_pressure"].time_s), T_INLET_K)
        for log in logs
    ]


def scaled(logs: Sequence[Log], name: str, factor: float) -> list[Log]:
    return [
        replace(x, channels={**x.channels, name: replace(x[name], value=x[name].value * factor)})
        for x in logs
    ]


def without(logs: Sequence[Log], *names: str) -> list[Log]:
    return [
        replace(x, channels={n: c for n, c in x.channels.items() if n not in names}) for x in logs
    ]


Change = Callable[[Sequence[Log]], list[Log]]


def pair_of(
    made: SimulatedCampaign, setup: EngineSetup, after: Change, both: Change = list
) -> tuple[PairResult, float]:
    """Return the answer and the true change of air over its window."""
    result = compare_logs(both(turned(made.before)), both(after(turned(made.after))), setup)
    return result.pairs[0], made.truth.airflow_change(*result.window.engine_speed_rpm)


def row_of(pair: PairResult) -> EstimateRow:
    (found,) = [e for e in pair.estimates if e.method == METHOD]
    return found


def test_it_sees_the_true_change_and_narrows_the_answer(
    made: SimulatedCampaign, setup: EngineSetup
) -> None:
    pair, truth = pair_of(made, setup, list)
    row = row_of(pair)
    assert row.used
    assert row.change is not None
    assert row.change.contains(truth)
    assert pair.airflow_change.contains(truth)
    assert pair.sensor_skew.contains(0.0)
    # Boost was raised: the engine breathes more, and whose gain it is stays open without demand.
    assert pair.verdict in {Verdict.UNDETERMINED, Verdict.GAIN_SUPPORTED}
    assert pair.probability_of_gain is not None
    assert pair.probability_of_gain > 0.99
    bare, _ = pair_of(made, made.setup, list)
    assert METHOD not in {e.method for e in bare.estimates}
    assert pair.airflow_change.half_width < bare.airflow_change.half_width


def test_a_skew_is_told_without_fuel_and_lambda(
    made: SimulatedCampaign, setup: EngineSetup
) -> None:
    pair, truth = pair_of(
        made,
        setup,
        lambda logs: scaled(logs, "mass_air_flow", 1.05),
        lambda logs: without(logs, "lambda"),
    )
    assert {e.method for e in pair.estimates if e.used} == {"speed_density", METHOD}
    assert pair.sensor_skew.contains(0.05)
    assert pair.sensor_skew.low > 0.03
    assert pair.airflow_change.contains(truth)
    assert pair.causes[0].cause is Cause.SENSOR_SCALE


@pytest.mark.parametrize("lacking", [(), ("lambda",)])
def test_a_drifted_pressure_sensor_moves_both_of_its_routes(
    made: SimulatedCampaign, setup: EngineSetup, lacking: tuple[str, ...]
) -> None:
    pair, truth = pair_of(
        made,
        setup,
        lambda logs: scaled(logs, "manifold_pressure", 0.9),
        lambda logs: without(logs, *lacking),
    )
    row = row_of(pair)
    assert row.change is not None
    assert row.change.value > truth + 0.05  # a lower ratio at that speed means more flow
    assert pair.causes[0].cause in PRESSURE_CAUSES
    assert pair.airflow_change.contains(truth)
    assert pair.sensor_skew.contains(0.0)
    assert pair.verdict in {Verdict.GAIN_SUPPORTED, Verdict.UNDETERMINED}


def test_where_the_map_does_not_reach_it_gives_way(
    made: SimulatedCampaign, setup: EngineSetup
) -> None:
    # A sensor on the wrong scale: speeds that this compressor never turns at.
    pair, _ = pair_of(made, setup, list, lambda logs: scaled(logs, "turbo_speed", 0.5))
    row = row_of(pair)
    assert not row.used
    assert "valid in 0 %" in row.reason
    bare, _ = pair_of(made, made.setup, list)
    assert pair.airflow_change is not None
    assert bare.airflow_change is not None
    # The map's own faults are still drawn, from their prior: a hundredth of a percent of noise.
    assert pair.airflow_change.value == pytest.approx(bare.airflow_change.value, abs=1e-4)
    assert pair.indicated_surplus is not None
    assert bare.indicated_surplus is not None
    assert pair.indicated_surplus.value == pytest.approx(bare.indicated_surplus.value, abs=1e-4)
    assert sum(r.samples for r in pair.by_speed) == sum(r.samples for r in bare.by_speed)


def test_without_turbo_speed_the_reason_is_given(
    made: SimulatedCampaign, setup: EngineSetup
) -> None:
    pair, _ = pair_of(made, setup, list, lambda logs: without(logs, "turbo_speed"))
    row = row_of(pair)
    assert not row.used
    assert "turbo speed" in row.reason


def test_a_bad_map_file_is_told_from_files(made: SimulatedCampaign, tmp_path: Path) -> None:
    engine = tmp_path / "engine.toml"
    engine.write_text(engine_toml(TURBO_DIESEL) + '\n[compressor_map]\nfile = "none.csv"\n')
    logs = [write_csv(x, tmp_path)[0] for x in (*made.before, *made.after)]
    plain = run(engine, logs[:3], logs[3:])  # no turbo speed in the logs: the map is not needed
    assert METHOD in {e.method for e in plain.pairs[0].estimates}
    turning = [turned([x]) for x in (made.before[0], made.after[0])]
    setup = made.setup.model_copy(
        update={"compressor_map": CompressorMap(file=str(tmp_path / "none.csv"))}
    )
    with pytest.raises(InputError, match="compressor map cannot be read"):
        compare_logs(*turning, setup)
