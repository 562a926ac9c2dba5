"""What the report's tests show: one result of each kind from the files in examples/.

Beside them stand comparisons written by hand, so that each verdict and each gap can be shown.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from airsense.cause import Cause
from airsense.evidence.causes import CauseResult
from airsense.evidence.curves import Curves, FlowCurve, FlowPoint, RepeatLevel, VePoint
from airsense.evidence.next_measurement import NextMeasurement
from airsense.evidence.ranking import PricePerPower, RankRow
from airsense.evidence.spool_up import (
    BuildUpRow,
    LevelRow,
    LevelVerdict,
    Rise,
    SpoolUp,
    SpoolVerdict,
    TimeRow,
)
from airsense.evidence.verdict import ReadingCause, Verdict
from airsense.jobs.comparison.result import (
    BudgetRow,
    CompareResult,
    EquivalentBore,
    EstimateRow,
    FreeEvidence,
    FullLoadRow,
    LawRow,
    PairResult,
    PowerRow,
    PriorRow,
    PriorVariation,
    SpeedRow,
    Window,
)
from airsense.jobs.log_use import LogUse, SegmentUse, WeatherUse
from airsense.results import Assumption, Finding, InputFile, Interval, Severity

FOLDER = Path(__file__).parents[1] / "examples" / "two_boxes"
ENGINE = FOLDER / "engine.toml"
BEFORE = tuple(FOLDER / f"before_{k}.csv" for k in (1, 2, 3))
AFTER = tuple(FOLDER / f"after_{k}.csv" for k in (1, 2, 3))
KINDS = ("audit", "channels", "check", "compare", "demo", "plan", "rescale", "screen", "tube")
SPEEDS = (1800.0, 2200.0, 2600.0, 3000.0, 3400.0, 3800.0)


def about(value: float, half: float) -> Interval:
    """Return a symmetric interval."""
    return Interval(value, value - half, value + half)


NEXT = NextMeasurement(
    key="still_seconds",
    cost="free",
    measurement="Switch the ignition on and log five seconds before the engine is started, before "
    "and after the change, with a barometer reading.",
    reason="a pressure sensor that has drifted shows itself at once",
    toml='[[measured]]\nwhat = "manifold_pressure_at_rest"\nreading_kpa = \nbarometer_kpa = ',
    worth=0.31,
)
CAUSES = (
    CauseResult(
        cause=Cause.SENSOR_SCALE,
        probability=0.912,
        size=about(0.041, 0.012),
        not_separable_from=(Cause.LEAK_AFTER_COMPRESSOR,),
    ),
    CauseResult(
        cause=Cause.LEAK_AFTER_COMPRESSOR,
        probability=0.0613,
        size=about(0.033, 0.021),
        not_separable_from=(Cause.SENSOR_SCALE,),
    ),
    CauseResult(
        cause=Cause.CHARGE_TEMPERATURE,
        probability=0.0321,
        size=about(2.5, 5.2),
        not_separable_from=(),
    ),
    CauseResult(cause=Cause.NONE, probability=0.0041, size=None, not_separable_from=()),
)


def speed_rows(air: float, surplus: float) -> tuple[SpeedRow, ...]:
    """Return the changes by engine speed around two means."""
    return tuple(
        SpeedRow(
            engine_speed_rpm=speed,
            airflow_change_indicated=(1.0 + air) * (1.0 + surplus) - 1.0 + 0.002 * k,
            airflow_change=about(air + 0.001 * k, 0.012),
            indicated_surplus=about(surplus + 0.001 * k, 0.011),
            sensor_skew=about(surplus + 0.001 * k, 0.014),
            samples=20 + k,
        )
        for k, speed in enumerate(SPEEDS)
    )


def full_load_rows() -> tuple[FullLoadRow, ...]:
    """Return curves of full load that rise and fall over engine speed."""
    return tuple(
        FullLoadRow(
            quantity=quantity,
            unit=unit,
            engine_speed_rpm=speed,
            before=about(level * (1.0 - 0.02 * k), 0.006 * level),
            after=about(level * (1.05 - 0.02 * k), 0.008 * level),
        )
        for quantity, unit, level in (
            ("wheel_power", "W", 120e3),
            ("manifold_pressure", "Pa", 240e3),
            ("engine_air", "kg/s", 0.15),
        )
        for k, speed in enumerate(SPEEDS)
    )


def route(method: str, change: float, surplus: float, *, used: bool = True) -> EstimateRow:
    """Return what one route says."""
    return EstimateRow(
        method=method,
        change=about(change, 0.021),
        surplus=about(surplus, 0.018),
        used=used,
        reason="independent of the sensor" if used else "computed from the sensor's reading",
    )


SPOOL = SpoolUp(
    verdict=SpoolVerdict.NOT_RESOLVED,
    sentence="Boost builds up as before.",
    step="pedal",
    repeats_before=3,
    repeats_after=2,
    engine_speed_before_rpm=1710.0,
    engine_speed_after_rpm=1722.0,
    times=(
        TimeRow(
            rise=Rise.OWN,
            share_of_rise=0.9,
            before_s=about(1.31, 0.06),
            after_s=about(1.27, 0.07),
            difference_s=about(-0.04, 0.09),
            verdict=SpoolVerdict.NOT_RESOLVED,
        ),
    ),
    levels=(
        LevelRow(
            quantity="mass_air_flow",
            method="speed_density",
            time_s=1.5,
            before=0.1214,
            after=0.1241,
            change=about(0.022, 0.031),
            verdict=LevelVerdict.NOT_RESOLVED,
        ),
    ),
    build_up=tuple(
        BuildUpRow(
            time_s=0.5 * k,
            before=about(240e3 - 1e5 * 0.5**k, 2e3),
            after=about(244e3 - 1e5 * 0.45**k, 3e3),
        )
        for k in range(8)
    ),
)

PAIR = PairResult(
    intake="cone filter",
    tune="base map",
    baseline="factory airbox",
    question="intake",
    verdict=Verdict.PARTLY_SUPPORTED,
    reading_cause=ReadingCause.OPEN,
    sentence="Part of it is real: the intake gave +3.3 % (+2.1 % to +4.5 %) air, while the sensor "
    "shows +9.4 %; +4.2 % (+3.1 % to +5.3 %) of the reading never reaches the engine.",
    sentences=(
        "Power followed the air: power changed by +4.0 % (+2.9 % to +5.1 %).",
        "The same tune was taken for granted: boost demand is not in the logs.",
    ),
    airflow_change_indicated=about(0.094, 0.004),
    airflow_change=about(0.05, 0.011),
    airflow_change_weather=about(0.016, 0.005),
    airflow_change_intake=about(0.033, 0.012),
    airflow_change_demand=about(0.0, 0.002),
    airflow_change_feedback=about(0.0004, 0.003),
    intake_ceiling=about(0.051, 0.021),
    indicated_surplus=about(0.0419, 0.011),
    sensor_skew=about(0.0411, 0.013),
    brake_power_change=about(0.04, 0.011),
    power_place="wheels",
    fuel_change=about(0.037, 0.014),
    manifold_pressure_change=about(0.029, 0.006),
    estimates=(
        route("speed_density", 0.051, 0.0409),
        route("fuel_lambda", 0.046, 0.0459),
        route("inlet_depression", 0.094, 0.0, used=False),
    ),
    causes=CAUSES,
    by_speed=speed_rows(0.05, 0.0419),
    full_load=full_load_rows(),
    next_measurement=NEXT,
    budget=(
        BudgetRow(label="charge temperature", u=0.0041, averages_over_runs=False),
        BudgetRow(label="scatter of the pulls", u=0.0027, averages_over_runs=True),
    ),
    free_evidence=(
        FreeEvidence(kind="engine_still", found=0, sentence="no reading with the engine still"),
        FreeEvidence(kind="part_load", found=37, sentence="a shift of pressure and a leak part"),
    ),
    prior_sensitivity=(
        PriorVariation(
            what="leaks five times as likely",
            verdict=Verdict.PARTLY_SUPPORTED,
            indicated_surplus=about(0.0421, 0.012),
        ),
    ),
    probability_of_gain=0.9996,
    probability_of_intake_gain=0.9991,
    probability_of_over_reading=0.9989,
    routes_agree_probability=0.62,
    boost_control=(LawRow(law="gauge", probability=0.55, source="our choice"),),
    power_corrections=(
        PowerRow(
            text="ISO 1585",
            factor_before=1.0123,
            factor_after=0.9917,
            change=about(0.019, 0.012),
            in_range=True,
            note="made for engines without charge cooling",
        ),
    ),
    spool_up=SPOOL,
    equivalent_bore=EquivalentBore(
        before_m=0.08, equivalent_m=about(0.0784, 0.0005), sentence="A tube of 78.4 mm."
    ),
)


def log_use(name: str, role: str, **changed: Any) -> LogUse:
    """Return what became of a log."""
    whole = LogUse(
        path=f"runs/{name}",
        role=role,
        used=True,
        reason="",
        segments=(
            SegmentUse(kind="pull", start_s=12.1, stop_s=21.7, used=True, reason="full load"),
            SegmentUse(
                kind="idle", start_s=0.0, stop_s=9.3, used=False, reason="no state to match"
            ),
        ),
        weather=WeatherUse(
            barometric_pressure_kpa=98.1,
            ambient_temperature_c=21.5,
            relative_humidity=0.44,
            source="setup, [weather]",
        ),
    )
    return replace(whole, **changed)


LOGS = (
    *(log_use(f"before_{k}.csv", "before") for k in (1, 2, 3)),
    log_use("after_1.csv", "after"),
    log_use("after_2.csv", "after", odd=True, odd_reason="reads 19 % above its repeats"),
    log_use("after_3.csv", "after", used=False, reason="no stretch under load"),
)
SAME_FINDING = "no barometer was logged: 101.3 kPa was taken"


def curves(*names: str) -> Curves:
    """Return the curves of some configurations."""
    flows = tuple(
        FlowCurve(
            configuration=name,
            method=method,
            points=tuple(
                FlowPoint(
                    engine_speed_rpm=speed,
                    flow_kgps=about(4e-5 * speed * (1.0 + 0.04 * k), 0.002),
                )
                for speed in SPEEDS
            ),
            u_common=0.031,
        )
        for k, name in enumerate(names)
        for method in ("mass_air_flow", "speed_density")
    )
    repeats = tuple(
        RepeatLevel(
            label=f"{name} {r}",
            configuration=name,
            order=3 * k + r,
            method=method,
            flow_change=0.05 * k + 0.002 * r,
            reading_change=None if method == "mass_air_flow" else 0.04 * k - 0.001 * r,
        )
        for k, name in enumerate(names)
        for r in (1, 2, 3)
        for method in ("mass_air_flow", "speed_density")
    )
    points = tuple(
        VePoint(
            configuration=name,
            engine_speed_rpm=speed,
            p_manifold_pa=1.2e5 + 20.0 * speed,
            ve_frac=0.85 + 1e-5 * speed + 0.01 * k,
            recirculation_suspected=speed < 2000.0,
        )
        for k, name in enumerate(names)
        for speed in SPEEDS
    )
    return Curves(flows=flows, repeats=repeats, apparent_ve=points)


COMPARE = CompareResult(
    engine="turbo diesel 3.0",
    window=Window(engine_speed_rpm=(1650.0, 3950.0), bins=6, kind="full-load pulls"),
    margin=0.01,
    pairs=(PAIR,),
    logs=LOGS,
    priors=(
        PriorRow(
            cause="sensor_scale",
            probability=0.45,
            size=0.03,
            unit="fraction",
            source="our choice: a bore change is usual",
        ),
        PriorRow(
            cause="charge_temperature",
            probability=0.04,
            size=4.0,
            unit="K",
            source="our choice: heat soak",
        ),
    ),
    findings=tuple(
        Finding(
            code="no_barometer",
            severity=Severity.WARNING,
            message=SAME_FINDING,
            fix="log or declare it",
            where=log.path,
        )
        for log in LOGS
    ),
    assumptions=(
        Assumption(quantity="humidity", value="45 %", source="assumed: workshop air, not logged"),
    ),
    inputs=(InputFile(path="runs/before_1.csv", sha256="a4" * 32, role="before"),),
    boost_control=(LawRow(law="gauge", probability=0.55, source="our choice"),),
    curves=curves("factory airbox, base map", "cone filter, base map"),
)


def with_pair(**changed: Any) -> CompareResult:
    """Return the comparison with something else in its pair."""
    return replace(COMPARE, pairs=(replace(PAIR, **changed),))


# Cooler air made more than the whole gain; the intake took some, the sensor reads lower.
NEGATIVE = with_pair(
    verdict=Verdict.LOSS_SUPPORTED,
    reading_cause=ReadingCause.SENSOR,
    sentence="The engine gets less through this intake: the intake gave -3.0 % (-4.2 % to -1.8 %) "
    "air; the sensor shows -5.0 %, the engine breathes -1.0 % (-2.1 % to +0.1 %).",
    airflow_change_indicated=about(-0.05, 0.004),
    airflow_change=about(-0.0105, 0.011),
    airflow_change_weather=about(0.02, 0.005),
    airflow_change_intake=about(-0.03, 0.012),
    airflow_change_demand=about(0.0, 0.002),
    airflow_change_feedback=about(0.0, 0.002),
    indicated_surplus=about(-0.0399, 0.011),
    sensor_skew=about(-0.0399, 0.013),
    by_speed=speed_rows(-0.0105, -0.0399),
)
NO_AIR = {
    "airflow_change_indicated": None,
    "airflow_change": None,
    "airflow_change_weather": None,
    "airflow_change_intake": None,
    "airflow_change_demand": None,
    "airflow_change_feedback": None,
    "intake_ceiling": None,
    "brake_power_change": None,
    "probability_of_gain": None,
    "probability_of_intake_gain": None,
    "by_speed": (),
    "power_corrections": (),
    "spool_up": None,
    "equivalent_bore": None,
}
# Drives without a pull: the surplus of the reading alone was looked at.
UNMATCHED = with_pair(
    **NO_AIR,
    verdict=Verdict.READING_ONLY,
    reading_cause=ReadingCause.SENSOR,
    sentence="The reading changed by +4.2 % (+3.1 % to +5.3 %) against the engine's air; the "
    "sensor reads differently in the new intake. The engine's own change was not looked at: there "
    "is no full load to match.",
    estimates=(replace(PAIR.estimates[0], change=None),),
)
NOTHING_SHARED = with_pair(
    **NO_AIR,
    verdict=Verdict.UNDETERMINED,
    sentence="Not decided: the logs before and after share no state that can be compared.",
    indicated_surplus=None,
    sensor_skew=None,
    fuel_change=None,
    estimates=(),
    causes=(),
    probability_of_over_reading=None,
    routes_agree_probability=None,
    prior_sensitivity=(),
)
NOTHING_SHARED = replace(
    NOTHING_SHARED,
    curves=None,
    findings=(
        Finding(
            code="no_match",
            severity=Severity.ERROR,
            message="nothing of this log can be compared: too few samples with the valve shut",
            fix="log full-load pulls",
            where="runs/after_1.csv",
        ),
    ),
)
TUNES = with_pair(
    question="tune",
    intake="factory airbox",
    tune="second map",
    baseline="base map",
    verdict=Verdict.TUNE_GAIN_SUPPORTED,
    reading_cause=ReadingCause.NONE,
    sentence="The second tune gives more air: the engine breathes +5.0 % (+3.9 % to +6.1 %) with "
    "the second tune. This says nothing of an intake.",
    airflow_change_weather=None,
    airflow_change_intake=None,
    airflow_change_demand=None,
    airflow_change_feedback=None,
)
# Demand and feedback are not told apart: each is open, together they are known.
JOINT = with_pair(
    airflow_change_demand=about(0.012, 0.024),
    airflow_change_feedback=about(-0.009, 0.021),
    demand_feedback_joint=about(0.0004, 0.009),
)
INTAKES = ("cone filter", "ram duct with a long name of its own", "panel filter", "open box")


def campaign(tunes: int = 2) -> CompareResult:
    """Return a comparison of several intakes at several tunes, no two alike."""
    kinds = (PAIR, NEGATIVE.pairs[0], UNMATCHED.pairs[0], JOINT.pairs[0])
    pairs = tuple(
        replace(
            kinds[k],
            intake=intake,
            tune=f"map {t}",
            indicated_surplus=about((0.0419, -0.0399, 0.0421, 0.0401)[k] + 0.001 * (t - 1), 0.011),
            airflow_change_indicated=kinds[k].airflow_change_indicated
            and about((0.094, -0.05, 0.0, 0.092)[k] + 0.001 * (t - 1), 0.004),
            next_measurement=replace(
                NEXT, key=f"step_{k}", cost=("free", "cheap", "dear", "free")[k]
            ),
        )
        for t in range(1, tunes + 1)
        for k, intake in enumerate(INTAKES)
    )
    return replace(
        COMPARE,
        pairs=pairs,
        ranking=tuple(
            RankRow(
                tune=p.tune,
                place=k,
                intake=p.intake,
                probability_best=0.2 * k,
                mean_place=float(k),
                airflow_change=PAIR.airflow_change or about(0.0, 0.0),
            )
            for k, p in enumerate(pairs, start=1)
        ),
        price_per_kw=tuple(
            PricePerPower(
                tune=p.tune,
                intake=p.intake,
                price=390.0,
                brake_power_gain_w=about(7300.0, 2100.0),
                price_per_kw=about(53.4, 12.0) if k % 2 else None,
                at_least=41.4,
                note="" if k % 2 else "a gain of power is not shown",
            )
            for k, p in enumerate(pairs)
        ),
        curves=curves(*(f"{name}, map 1" for name in ("factory airbox", *INTAKES[:2]))),
    )


COMPARISONS = {
    "partly": COMPARE,
    "negative": NEGATIVE,
    "unmatched": UNMATCHED,
    "nothing shared": NOTHING_SHARED,
    "tunes": TUNES,
    "joint": JOINT,
    "campaign": campaign(),
    "large campaign": campaign(6),
}


@cache
def result_of(kind: str) -> Any:
    """Return a result of a kind."""
    return _MAKERS[kind]()


def _audit() -> Any:
    from airsense.jobs import audit

    return audit.run(FOLDER / "claims.toml")


def _channels() -> Any:
    from airsense.jobs import channels

    return channels.run(BEFORE[0])


def _check() -> Any:
    from airsense.jobs import check

    return check.run(BEFORE[:1], ENGINE)


def _compare() -> Any:
    from airsense.jobs import compare

    return compare.run(ENGINE, BEFORE, AFTER)


def _demo() -> Any:
    from airsense.jobs import demo

    with tempfile.TemporaryDirectory() as name:
        return demo.run(Path(name))


def _plan() -> Any:
    from airsense.evidence.planning.states import PlannedQuantity
    from airsense.jobs import plan

    return plan.run(ENGINE, BEFORE[:2], quantity=PlannedQuantity.AIRFLOW_CHANGE)


def _rescale() -> Any:
    from airsense.jobs import rescale

    return rescale.run(ENGINE, AFTER, FOLDER / "maf_table.csv", baseline=BEFORE[:2])


def _screen() -> Any:
    from airsense.jobs import screen

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "van").mkdir()
        for month, log in enumerate((*BEFORE, *AFTER), start=1):
            shutil.copy(log, folder / "van" / f"2026-0{month}-11_09-00.csv")
        (folder / "van" / "broken.csv").write_text("a,b\n")
        return screen.run(str(folder), ENGINE, screen.ScreenOptions(workers=1))


def _tube() -> Any:
    from airsense.jobs import tube

    return tube.run(bore_before_mm=80.0, bore_after_mm=78.0)


_MAKERS: dict[str, Callable[[], Any]] = {
    "audit": _audit,
    "channels": _channels,
    "check": _check,
    "compare": _compare,
    "demo": _demo,
    "plan": _plan,
    "rescale": _rescale,
    "screen": _screen,
    "tube": _tube,
}
