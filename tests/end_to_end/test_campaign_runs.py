"""Campaigns from files to JSON: pairs, ranking, price, drift, weather, tunes, odd logs."""

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
from airsense.jobs.campaign import compare_campaign
from airsense.jobs.comparison.proposals import BASELINE_AGAIN
from airsense.jobs.comparison.result import CompareResult, PairResult
from airsense.logs.log import Log
from airsense.results import Interval
from airsense.setup.campaign import CampaignIntake, CampaignRun
from tests.campaign_logs import (
    SHARED,
    Session,
    campaign_of,
    drifted,
    in_order,
    session,
    write_campaign,
)
from tests.simulate.case import BoostControl, Case

pytestmark = pytest.mark.slow

SKEW = 0.05
ORDER = "ABCCBAABCABC"
# A stock box that strangles the engine: an open one is worth several percent at the same demand.
STRANGLED = {
    "restriction_before": 6.0,
    "boost_control": BoostControl.RATIO_INLET,
    "log_depression": True,
    "n_before": 4,
    "n_after": 4,
    **SHARED,
}


@pytest.fixture(scope="module")
def three() -> Session:
    """A baseline, an intake that only skews the sensor, and one that breathes easier."""
    cases = [Case(skew=SKEW, **STRANGLED), Case(restriction_factor=0.3, **STRANGLED)]
    made = session(cases, seed=8)
    engine = made.setup.engine
    law = type(engine.boost_control)("ratio_inlet")
    known = made.setup.model_copy(
        update={"engine": engine.model_copy(update={"boost_control": law})}
    )
    return replace(made, setup=known)


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


def part(pair: PairResult) -> Interval:
    assert pair.airflow_change_intake is not None
    return pair.airflow_change_intake


def shown(pair: PairResult) -> Interval:
    assert pair.airflow_change_indicated is not None
    return pair.airflow_change_indicated


def test_every_intake_is_answered_against_the_baseline(
    three: Session, answer: CompareResult
) -> None:
    assert [(p.intake, p.baseline) for p in answer.pairs] == [("B", "A"), ("C", "A")]
    window = answer.window.engine_speed_rpm
    b, c = answer.pairs
    assert part(b).contains(change_of(three, "B", window))
    assert part(c).contains(change_of(three, "C", window))
    assert b.indicated_surplus is not None
    assert b.indicated_surplus.contains(SKEW)
    assert c.indicated_surplus is not None
    assert c.indicated_surplus.contains(0.0)
    assert b.verdict is Verdict.READING_ONLY
    assert c.verdict is Verdict.GAIN_SUPPORTED
    assert len(answer.logs) == len(ORDER)
    assert not any(row.odd for row in answer.logs)


def test_the_ranking_rests_on_the_intakes_part(answer: CompareResult) -> None:
    assert next(r.intake for r in answer.ranking) == "C"
    assert sum(r.probability_best for r in answer.ranking) == pytest.approx(1.0)
    assert answer.ranking[0].probability_best > 0.9
    assert [r.place for r in answer.ranking] == [1, 2, 3]
    assert answer.ranking[0].airflow_change == part(answer.pairs[1])


def test_only_what_the_intake_gave_has_a_price(answer: CompareResult) -> None:
    rows = {r.intake: r for r in answer.price_per_kw}
    assert set(rows) == {"B", "C"}
    assert rows["B"].price_per_kw is None
    assert "not shown that the intake gave" in rows["B"].note
    gain = rows["C"].brake_power_gain_w
    assert gain is not None
    assert gain.low > 0.0
    assert rows["C"].price_per_kw is not None
    assert rows["C"].price_per_kw.value == pytest.approx(450.0 / (gain.value / 1e3))
    assert rows["C"].price_per_kw.low < rows["C"].price_per_kw.value < rows["C"].price_per_kw.high


def test_how_many_pairs_were_looked_at_is_said(answer: CompareResult) -> None:
    (family,) = [a for a in answer.assumptions if a.quantity == "coverage of the intervals"]
    assert "2 pairs" in family.source


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
    priced = [CampaignIntake(name="A"), CampaignIntake(name="C", price=450.0)]
    return compare_campaign(campaign_of(runs, priced), logs, three.setup)


def test_going_back_recovers_the_change_under_drift(three: Session) -> None:
    found = airflow(three, "AACCCAA", DRIFT)
    still = airflow(three, "AACCCAA", 0.0)
    truth = change_of(three, "C", found.window.engine_speed_rpm)
    pair, calm = found.pairs[0], still.pairs[0]
    assert part(pair).contains(truth)
    assert abs(part(pair).value - part(calm).value) < 0.004
    # What the runs scatter by drifting is no doubt of the intake.
    assert part(pair).half_width < 1.15 * part(calm).half_width
    assert shown(pair).half_width > 1.15 * shown(calm).half_width
    assert "drift_not_separable" not in codes(found)
    assert found.price_per_kw[0].price_per_kw is not None


def test_the_measured_change_is_never_altered_by_the_order(three: Session) -> None:
    for plan in ("AACCCAA", "AAACCC"):
        told = airflow(three, plan, DRIFT)
        blind = airflow(three, plan, DRIFT, ordered=False)
        assert shown(told.pairs[0]) == shown(blind.pairs[0])
        assert told.pairs[0].airflow_change == blind.pairs[0].airflow_change
        assert "run_order_unknown" in codes(blind)
        assert "run_order_unknown" not in codes(told)


def test_in_blocks_drift_and_intake_cannot_be_told_apart(three: Session) -> None:
    plan = "AAACCC"
    told, back = (airflow(three, p, -0.012) for p in (plan, "AACCCAA"))
    truth = change_of(three, "C", told.window.engine_speed_rpm)
    assert part(told.pairs[0]).contains(truth)
    assert part(told.pairs[0]).half_width > 1.1 * part(back.pairs[0]).half_width
    assert told.pairs[0].next_measurement == BASELINE_AGAIN
    assert told.price_per_kw[0].price_per_kw is None


def test_a_soak_that_each_swap_cools_is_not_sold_as_the_intakes(three: Session) -> None:
    plan = "AAABBBCCC"
    logs, runs = in_order(three.logs, plan)
    warm = [drifted(log, 1.0 - 0.018 * (k % 3)) for k, log in enumerate(logs)]
    found = compare_campaign(campaign_of(runs, INTAKES), warm, three.setup)
    for pair, cool in zip(
        found.pairs, compare_campaign(campaign_of(runs), logs, three.setup).pairs, strict=True
    ):
        assert shown(pair).value == pytest.approx(shown(cool).value, abs=0.002)
        assert part(pair).contains(change_of(three, pair.intake, found.window.engine_speed_rpm))
        assert pair.next_measurement == BASELINE_AGAIN
    assert "drift_not_separable" in codes(found)
    assert all(row.price_per_kw is None for row in found.price_per_kw)


@pytest.mark.parametrize("plan", ["AC", "AACC", "AAACCC"])
def test_first_one_then_the_other_cannot_tell_drift(three: Session, plan: str) -> None:
    found = airflow(three, plan, 0.0)
    (finding,) = [f for f in found.findings if f.code == "drift_not_separable"]
    assert "C against A at t" in finding.message
    assert "ABA" in finding.fix


def test_only_the_pair_that_cannot_tell_is_named(three: Session) -> None:
    logs, runs = in_order(three.logs, "ABABCCC")
    found = compare_campaign(campaign_of(runs), logs, three.setup)
    untold = [f.message for f in found.findings if f.code == "drift_not_separable"]
    assert len(untold) == 1
    assert "C against A" in untold[0]
    assert "B against A" not in untold[0]


def test_two_sessions_share_no_drift(three: Session) -> None:
    logs, runs = in_order(three.logs, "ACACAC")
    days = tuple(
        r.model_copy(update={"session": "monday" if r.intake == "A" else "friday"}) for r in runs
    )
    apart = compare_campaign(campaign_of(days), logs, three.setup)
    one = compare_campaign(
        campaign_of([r.model_copy(update={"session": "monday"}) for r in runs]), logs, three.setup
    )
    assert "drift_not_separable" in codes(apart)
    assert "drift_not_separable" not in codes(one)
    assert part(apart.pairs[0]).half_width >= part(one.pairs[0]).half_width


# -- odd logs -----------------------------------------------------------------


def hose_off(log: Log) -> Log:
    maf = log["mass_air_flow"]
    return replace(
        log, channels={**log.channels, "mass_air_flow": replace(maf, value=1.2 * maf.value)}
    )


def test_an_odd_log_is_named_and_left_out_where_two_repeats_speak_against_it(
    three: Session,
) -> None:
    logs, runs = in_order(three.logs, "ACCCAA")
    sound = compare_campaign(campaign_of(runs), logs, three.setup).pairs[0]
    logs[2] = hose_off(logs[2])
    found = compare_campaign(campaign_of(runs), logs, three.setup)
    assert [row.odd for row in found.logs] == [False, False, True, False, False, False]
    assert [row.used for row in found.logs] == [True, True, False, True, True, True]
    assert "beside the other repeats" in found.logs[2].odd_reason
    (other,) = [f.message for f in found.findings if f.code == "with_odd_logs"]
    assert "instead of" in other
    assert "the surplus of the reading +" in other
    (pair,) = found.pairs
    assert pair.indicated_surplus is not None
    assert sound.indicated_surplus is not None
    assert abs(pair.indicated_surplus.value - sound.indicated_surplus.value) < 0.01
    alone = compare_campaign(campaign_of(runs[:2] + runs[3:]), logs[:2] + logs[3:], three.setup)
    (own,) = alone.pairs
    assert own.indicated_surplus is not None
    assert abs(pair.indicated_surplus.value - own.indicated_surplus.value) < 1e-3


def test_of_two_repeats_that_differ_both_stay_in(three: Session) -> None:
    logs, runs = in_order(three.logs, "ACCAA")
    logs[2] = hose_off(logs[2])
    found = compare_campaign(campaign_of(runs), logs, three.setup)
    assert [row.odd for row in found.logs] == [False, False, True, False, False]
    assert all(row.used for row in found.logs)
    (without,) = [f.message for f in found.findings if f.code == "without_odd_logs"]
    assert "the surplus of the reading -" in without


# -- weather ------------------------------------------------------------------


def test_declared_weather_fills_what_the_log_lacks_and_is_shown(three: Session) -> None:
    logs, runs = in_order(three.logs, "ACAC")
    bare = [
        replace(x, channels={n: v for n, v in x.channels.items() if n != "barometric_pressure"})
        for x in logs
    ]
    days = tuple(
        r.model_copy(update={"barometric_pressure_kpa": 97.0 + k}) for k, r in enumerate(runs)
    )
    found = compare_campaign(campaign_of(days), bare, three.setup)
    used = [row.weather.barometric_pressure_kpa for row in found.logs]
    assert used == pytest.approx([97.0, 98.0, 99.0, 100.0])
    logged = compare_campaign(campaign_of(days), logs, three.setup)
    assert logged.logs[0].weather.barometric_pressure_kpa != pytest.approx(97.0, abs=0.1)


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
        assert part(pair).contains(truth)
    assert [r.tune for r in found.ranking] == ["road", "road", "race", "race"]


def test_a_tune_of_the_baseline_alone_is_held_against_its_first_tune(three: Session) -> None:
    logs, runs = in_order(three.logs, "ACAC")
    alone = [drifted(log, 1.08) for log in three.logs["A"][2:]]
    more = tuple(
        CampaignRun(log=f"x{k}", intake="A", tune="alone", order=10 + k) for k in range(len(alone))
    )
    found = compare_campaign(campaign_of((*runs, *more)), [*logs, *alone], three.setup)
    assert [(p.intake, p.tune, p.question) for p in found.pairs] == [
        ("C", "t", "intake"),
        ("A", "alone", "tune"),
    ]
    assert found.pairs[1].verdict is Verdict.TUNE_GAIN_SUPPORTED
    assert found.pairs[1].baseline == "A, t"
    assert {r.tune for r in found.ranking} == {"t"}


def test_a_log_of_several_pulls_is_one_run(three: Session) -> None:
    first, second, third = (
        joined(three.logs[n][k : k + 2]) for n, k in (("A", 0), ("C", 0), ("A", 2))
    )
    runs = tuple(
        CampaignRun(log=f"{k}", intake=n, tune="t", order=k) for k, n in enumerate("ACA", start=1)
    )
    found = compare_campaign(campaign_of(runs), [first, second, third], three.setup)
    assert "drift_not_separable" not in codes(found)
    assert part(found.pairs[0]).contains(change_of(three, "C", found.window.engine_speed_rpm))


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
    assert "no power" in row.note


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
    assert told["schema"] == "airsense.compare/2"
    assert len(told["pairs"]) == 2
    guaranteed = {
        "intake", "tune", "baseline", "verdict", "reading_cause", "sentence",
        "airflow_change_indicated", "airflow_change", "airflow_change_weather",
        "airflow_change_intake", "airflow_change_demand", "airflow_change_feedback",
        "indicated_surplus", "sensor_skew", "brake_power_change", "fuel_change",
        "estimates", "causes", "by_speed", "next_measurement",
    }  # fmt: skip
    for pair in told["pairs"]:
        assert guaranteed <= set(pair)
        assert set(pair["airflow_change"]) == {"value", "low", "high"}
    assert len(told["logs"]) == len(ORDER)
    assert {r["intake"] for r in told["ranking"]} == {"A", "B", "C"}
    assert {r["intake"] for r in told["price_per_kw"]} == {"B", "C"}
    runs = [f"{name}, t" for name in ORDER]
    assert [i["role"] for i in told["inputs"]] == ["campaign", "setup", *runs]
    assert all(len(i["sha256"]) == 64 for i in told["inputs"])


def test_engine_options_and_a_campaign_exclude_each_other(tmp_path: Path) -> None:
    done = CliRunner().invoke(cli, ["compare", "x.toml", "--engine", "e.toml"])
    assert done.exit_code == 2
