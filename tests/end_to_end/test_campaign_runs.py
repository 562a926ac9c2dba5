"""Campaigns from files to JSON: all pairs, ranking, price, drift, weather."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from airsense.cli.main import cli
from airsense.errors import InputError
from airsense.evidence.verdict import Verdict
from airsense.jobs import campaign as job
from airsense.jobs.campaign import compare_campaign, with_weather
from airsense.jobs.compare import CompareResult, compare_logs
from airsense.logs.log import Log
from airsense.results import Interval
from airsense.setup.campaign import CampaignIntake, CampaignRun
from airsense.simulate.case import Case
from tests.campaign_logs import (
    SHARED,
    Session,
    campaign_of,
    drifted,
    in_order,
    session,
    write_campaign,
)

SKEW, BOOST = 0.05, 0.04
ORDER = "ABCCBAABCABC"


@pytest.fixture(scope="module")
def three() -> Session:
    """A baseline, an intake that only skews the sensor, and one that brings air."""
    cases = [Case(skew=SKEW, n_before=4, n_after=4, **SHARED),
             Case(boost_change=BOOST, n_before=4, n_after=4, **SHARED)]  # fmt: skip
    return session(cases, seed=8)


INTAKES = (
    CampaignIntake(name="A", bore_mm=80.0),
    CampaignIntake(name="B", bore_mm=78.07, price=300.0),
    CampaignIntake(name="C", bore_mm=80.0, price=450.0),
)


def codes(result: CompareResult) -> set[str]:
    return {f.code for f in result.findings}


@pytest.fixture(scope="module")
def answer(three: Session) -> CompareResult:
    logs, runs = in_order(three.logs, ORDER)
    return compare_campaign(campaign_of(runs, INTAKES), logs, three.setup)


def change_of(three: Session, name: str, window: tuple[float, float]) -> float:
    return three.truth[name].airflow_change(*window)


def test_every_pair_is_answered_and_covers_the_truth(three: Session, answer: CompareResult) -> None:
    assert [(p.intake, p.baseline) for p in answer.pairs] == [("B", "A"), ("C", "A"), ("C", "B")]
    window = answer.window.engine_speed_rpm
    air_b, air_c = (change_of(three, n, window) for n in "BC")
    b, c, between = answer.pairs
    assert b.airflow_change.contains(air_b)
    assert c.airflow_change.contains(air_c)
    assert between.airflow_change.contains((1.0 + air_c) / (1.0 + air_b) - 1.0)
    assert b.sensor_skew.contains(SKEW)
    assert c.sensor_skew.contains(0.0)
    assert between.sensor_skew.contains(1.0 / (1.0 + SKEW) - 1.0)
    assert c.verdict is Verdict.GAIN_SUPPORTED
    assert max(p.airflow_change.half_width for p in answer.pairs) < 0.025


def test_the_ranking_puts_the_true_gain_first(answer: CompareResult) -> None:
    assert next(r.intake for r in answer.ranking) == "C"
    assert sum(r.probability_best for r in answer.ranking) == pytest.approx(1.0)
    assert answer.ranking[0].probability_best > 0.9
    assert [r.place for r in answer.ranking] == [1, 2, 3]


def test_the_price_follows_from_the_power_gained(answer: CompareResult) -> None:
    rows = {r.intake: r for r in answer.price_per_kw}
    assert set(rows) == {"B", "C"}
    gain = rows["C"].brake_power_gain_w
    assert gain is not None
    assert gain.low > 0.0
    assert rows["C"].price_per_kw is not None
    assert rows["C"].price_per_kw.value == pytest.approx(450.0 / (gain.value / 1e3))
    assert rows["C"].price_per_kw.low < rows["C"].price_per_kw.value < rows["C"].price_per_kw.high


def test_the_intervals_are_joint(answer: CompareResult) -> None:
    (family,) = [a for a in answer.assumptions if a.quantity == "coverage of the intervals"]
    assert family.value.startswith("98.30 %")  # 0.95 ** (1/3)


def test_a_single_pair_is_answered_like_a_plain_comparison(three: Session) -> None:
    logs, runs = in_order(three.logs, "AAABBB")
    plain = compare_logs(logs[:3], logs[3:], three.setup).pairs[0]
    without = tuple(r.model_copy(update={"order": None}) for r in runs)
    one = compare_campaign(campaign_of(without), logs, three.setup).pairs[0]
    assert one.airflow_change == plain.airflow_change
    assert one.sensor_skew == plain.sensor_skew
    assert one.by_speed == plain.by_speed
    assert one.verdict is plain.verdict


def test_the_bores_are_held_against_the_skew(three: Session, answer: CompareResult) -> None:
    assert "bore_contradicts_skew" not in codes(answer)
    logs, runs = in_order(three.logs, ORDER)
    wrong = [i.model_copy(update={"bore_mm": 80.0}) for i in INTAKES]
    found = compare_campaign(campaign_of(runs, wrong), logs, three.setup)
    warned = [f.message for f in found.findings if f.code == "bore_contradicts_skew"]
    assert warned
    # B is the one whose bore was declared wrong.
    assert all("B" in message.split(":")[0] for message in warned)


# -- run order ----------------------------------------------------------------

DRIFT = -0.006


def airflow(three: Session, plan: str, drift: float, *, ordered: bool = True) -> CompareResult:
    logs, runs = in_order(three.logs, plan, drift_per_run=drift)
    if not ordered:
        runs = tuple(r.model_copy(update={"order": None}) for r in runs)
    return compare_campaign(campaign_of(runs), logs, three.setup)


def test_an_alternating_order_recovers_the_change_under_drift(three: Session) -> None:
    found = airflow(three, "AACCCAA", DRIFT)
    still = airflow(three, "AACCCAA", 0.0)
    truth = change_of(three, "C", found.window.engine_speed_rpm)
    assert found.pairs[0].airflow_change.contains(truth)
    shift = found.pairs[0].airflow_change.value - still.pairs[0].airflow_change.value
    assert abs(shift) < 0.002
    assert "run_order_drift" in codes(found)
    assert "run_order_drift" not in codes(still)
    assert "drift_not_separable" not in codes(found)


def test_without_its_order_the_drift_would_pass_for_the_intake(three: Session) -> None:
    plan = "AAACCC"
    blind = airflow(three, plan, -0.012, ordered=False)
    truth = change_of(three, "C", blind.window.engine_speed_rpm)
    assert not blind.pairs[0].airflow_change.contains(truth)
    assert "run_order_unknown" in codes(blind)
    told = airflow(three, plan, -0.012)
    assert told.pairs[0].airflow_change.contains(truth)
    assert "drift_widens_intervals" in codes(told)
    widening = told.pairs[0].airflow_change.half_width / blind.pairs[0].airflow_change.half_width
    assert widening > 1.2


@pytest.mark.parametrize("plan", ["AC", "AACC", "AAACCC"])
def test_first_one_then_the_other_cannot_tell_drift(three: Session, plan: str) -> None:
    found = airflow(three, plan, 0.0)
    (finding,) = [f for f in found.findings if f.code == "drift_not_separable"]
    assert "C against A at t" in finding.message
    assert "ABA" in finding.fix


def test_only_the_pair_that_cannot_tell_is_named(three: Session) -> None:
    found = airflow(three, "ABABCCC", 0.0)
    untold = [f.message for f in found.findings if f.code == "drift_not_separable"]
    assert len(untold) == 1
    assert "C against A" in untold[0]
    assert "B against A" not in untold[0]


# -- weather ------------------------------------------------------------------


def test_declared_weather_fills_what_the_log_lacks(three: Session) -> None:
    log = three.logs["A"][0]
    bare = replace(
        log, channels={n: c for n, c in log.channels.items() if n != "barometric_pressure"}
    )
    declared = CampaignRun(
        log="x", intake="A", ambient_temperature_c=20.0, barometric_pressure_kpa=98.0,
        relative_humidity=0.5,
    )  # fmt: skip
    filled = with_weather(bare, declared)
    assert filled["barometric_pressure"].value == pytest.approx([98e3, 98e3])
    assert filled["ambient_temperature"].value == pytest.approx([293.15, 293.15])
    assert filled["relative_humidity"].value == pytest.approx([0.5, 0.5])
    assert filled["barometric_pressure"].time_s == pytest.approx(bare.span_s)
    assert "barometric_pressure" not in bare


def test_logged_weather_goes_first(three: Session) -> None:
    log = three.logs["A"][0]
    declared = CampaignRun(log="x", intake="A", barometric_pressure_kpa=80.0)
    kept = with_weather(log, declared)["barometric_pressure"]
    assert np.array_equal(kept.value, log["barometric_pressure"].value)


def test_the_barometer_counts_where_pressure_is_gauge(three: Session) -> None:
    def as_gauge(log: object, day_kpa: float) -> object:
        """The same engine state, logged over the barometer of another day."""
        manifold = log["manifold_pressure"]
        gauge = replace(manifold, name="boost_pressure", value=manifold.value - 1e3 * day_kpa)
        kept = {n: c for n, c in log.channels.items()
                if n not in {"manifold_pressure", "barometric_pressure"}}  # fmt: skip
        return replace(log, channels={**kept, "boost_pressure": gauge})

    logs, runs = in_order(three.logs, "ACACAC")
    days = [97.0 if r.intake == "A" else 101.0 for r in runs]
    gauge = [as_gauge(log, day) for log, day in zip(logs, days, strict=True)]
    known = tuple(
        r.model_copy(update={"barometric_pressure_kpa": day})
        for r, day in zip(runs, days, strict=True)
    )
    absolute = compare_campaign(campaign_of(runs), logs, three.setup).pairs[0]
    with_day = compare_campaign(campaign_of(known), gauge, three.setup).pairs[0]
    without = compare_campaign(campaign_of(runs), gauge, three.setup).pairs[0]

    def by_pressure(pair: object) -> Interval:
        (row,) = [e for e in pair.estimates if e.method == "speed_density"]
        return row.change

    assert by_pressure(with_day).value == pytest.approx(by_pressure(absolute).value, abs=5e-4)
    # 4 kPa of some 245 kPa pass for a loss where nobody knows the day's barometer.
    assert by_pressure(without).value < by_pressure(absolute).value - 0.01
    # It is in the budget; how far the runs scatter for it, they show themselves.
    unknown = "barometric pressure, assumed"
    assert unknown in {part.label for part in without.budget}
    assert unknown not in {part.label for part in with_day.budget}
    assert by_pressure(without).half_width > 0.99 * by_pressure(with_day).half_width


# -- tunes and files ----------------------------------------------------------


def test_tunes_are_compared_within_themselves(three: Session) -> None:
    first, runs_1 = in_order(three.logs, "ACCA", tune="road")
    rest = {n: own[2:] for n, own in three.logs.items()}
    second, runs_2 = in_order(rest, "ACCA", tune="race")
    richer = [drifted(log, 1.06) for log in second]
    later = tuple(r.model_copy(update={"order": r.order + 4, "log": f"r{r.log}"}) for r in runs_2)
    found = compare_campaign(campaign_of((*runs_1, *later)), [*first, *richer], three.setup)
    assert [(p.intake, p.tune, p.baseline) for p in found.pairs] == [
        ("C", "road", "A"),
        ("C", "race", "A"),
    ]
    truth = change_of(three, "C", found.window.engine_speed_rpm)
    for pair in found.pairs:
        assert pair.airflow_change.contains(truth)
    assert [r.tune for r in found.ranking] == ["road", "road", "race", "race"]


def test_a_tune_of_the_baseline_alone_gives_no_pair(three: Session) -> None:
    logs, runs = in_order(three.logs, "ACAC")
    alone = three.logs["A"][2:]
    more = tuple(
        CampaignRun(log=f"x{k}", intake="A", tune="alone", order=10 + k) for k in range(len(alone))
    )
    found = compare_campaign(campaign_of((*runs, *more)), [*logs, *alone], three.setup)
    assert [(p.intake, p.tune) for p in found.pairs] == [("C", "t")]
    assert {r.tune for r in found.ranking} == {"t"}


def test_pulls_of_one_log_share_out_its_place_in_the_order(three: Session) -> None:
    first, second, third = (
        joined(three.logs[n][k : k + 2]) for n, k in (("A", 0), ("C", 0), ("A", 2))
    )
    runs = tuple(
        CampaignRun(log=f"{k}", intake=n, tune="t", order=k) for k, n in enumerate("ACA", start=1)
    )
    found = compare_campaign(campaign_of(runs), [first, second, third], three.setup)
    assert "drift_not_separable" not in codes(found)
    pair = found.pairs[0]
    assert pair.airflow_change.contains(change_of(three, "C", found.window.engine_speed_rpm))
    assert pair.spool_up is not None
    assert (pair.spool_up.repeats_before, pair.spool_up.repeats_after) == (4, 2)


def joined(logs: list[Log]) -> Log:
    """Return one log that holds several runs one after the other."""
    gap = 1.0 + max(log.span_s[1] for log in logs)
    names = set.intersection(*(set(log.channels) for log in logs))
    return replace(
        logs[0],
        channels={
            n: replace(
                logs[0][n],
                time_s=np.concatenate([log[n].time_s + k * gap for k, log in enumerate(logs)]),
                value=np.concatenate([log[n].value for log in logs]),
            )
            for n in names
        },
    )


def test_a_route_that_one_log_lacks_is_left_out_and_named(three: Session) -> None:
    logs, runs = in_order(three.logs, "ACAC")
    kept = {n: c for n, c in logs[2].channels.items() if n != "lambda"}
    logs[2] = replace(logs[2], channels=kept)
    pair = compare_campaign(campaign_of(runs), logs, three.setup).pairs[0]
    (row,) = [e for e in pair.estimates if e.method == "fuel_lambda"]
    assert not row.used
    assert "no measured lambda" in row.reason
    assert logs[2].path in row.reason


def test_without_power_there_is_no_price(three: Session) -> None:
    logs, runs = in_order(three.logs, "ACAC")
    bare = [
        replace(x, channels={n: c for n, c in x.channels.items() if n != "brake_power"})
        for x in logs
    ]
    intakes = [CampaignIntake(name="A"), CampaignIntake(name="C", price=450.0)]
    (row,) = compare_campaign(campaign_of(runs, intakes), bare, three.setup).price_per_kw
    assert row.price_per_kw is None
    assert row.brake_power_gain_w is None
    assert "no brake power" in row.note


def test_a_copied_log_is_no_repeat(three: Session, tmp_path: Path) -> None:
    logs, runs = in_order(three.logs, "ACAC")
    path = write_campaign(tmp_path, logs, runs)
    (tmp_path / "3.csv").write_bytes((tmp_path / "1.csv").read_bytes())
    with pytest.raises(InputError, match="same content"):
        job.run(path)


def test_from_the_command_line_to_json(three: Session, tmp_path: Path) -> None:
    logs, runs = in_order(three.logs, ORDER)
    path = write_campaign(tmp_path, logs, runs)
    with path.open("a") as file:
        file.write('\n[[intake]]\nname = "A"\n[[intake]]\nname = "B"\nprice = 300.0\n')
        file.write('[[intake]]\nname = "C"\nprice = 450.0\n')
    out = tmp_path / "out.json"
    done = CliRunner().invoke(
        cli, ["compare", str(path), "--json", str(out), "--quiet"], catch_exceptions=False
    )
    assert done.exit_code == 0, done.output
    told = json.loads(out.read_text())
    assert told["schema"] == "airsense.compare/1"
    assert len(told["pairs"]) == 3
    guaranteed = {
        "intake", "tune", "baseline", "verdict", "sentence", "airflow_change_indicated",
        "airflow_change", "sensor_skew", "brake_power_change", "fuel_change", "attribution",
        "estimates", "causes", "by_speed", "next_measurement",
    }  # fmt: skip
    for pair in told["pairs"]:
        assert guaranteed <= set(pair)
        assert set(pair["airflow_change"]) == {"value", "low", "high"}
    assert {r["intake"] for r in told["ranking"]} == {"A", "B", "C"}
    assert {r["intake"] for r in told["price_per_kw"]} == {"B", "C"}
    runs = [f"{name}, t" for name in ORDER]
    assert [i["role"] for i in told["inputs"]] == ["campaign", "setup", *runs]
    assert all(len(i["sha256"]) == 64 for i in told["inputs"])


def test_engine_options_and_a_campaign_exclude_each_other(tmp_path: Path) -> None:
    done = CliRunner().invoke(cli, ["compare", "x.toml", "--engine", "e.toml"])
    assert done.exit_code == 2
