"""Is the gain real, and is it the intake's? Before and after, from logs to a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from airsense.estimates.weather import with_weather
from airsense.evidence.spool_up import spool_up, traces
from airsense.evidence.verdict import DEFAULT_MARGIN
from airsense.jobs.comparison.contradiction import contradicted
from airsense.jobs.comparison.given import INTAKE, TUNE, PairInput
from airsense.jobs.comparison.logs import (
    log_uses,
    match_findings,
    prior_rows,
    runs_left_out,
)
from airsense.jobs.comparison.odd import left_out, odd_logs
from airsense.jobs.comparison.pair import Weighed, compare_pair
from airsense.jobs.comparison.result import CompareResult, PairResult, Window
from airsense.jobs.curves import curves_of
from airsense.jobs.declared import prior_table
from airsense.jobs.driven_window import require_driven
from airsense.jobs.observe import Observations, input_file, make_runs, observe
from airsense.jobs.provenance import setup_inputs
from airsense.logs.log import Log
from airsense.logs.own_units import own_units
from airsense.logs.suggest import read_logs
from airsense.results import Assumption, Finding
from airsense.setup.engine import EngineSetup
from airsense.setup.load import load_engine
from airsense.setup.measured import check_configurations

BEFORE, AFTER = "before", "after"


def run(
    engine_file: Path,
    before: Sequence[Path],
    after: Sequence[Path],
    *,
    rpm: tuple[float, float] | None = None,
    margin: float = DEFAULT_MARGIN,
    tunes: tuple[str, str] | None = None,
) -> CompareResult:
    """Compare log files of two configurations.

    Parameters
    ----------
    engine_file : path
    before, after : sequence of path
    rpm : tuple of float, optional
        Window of engine speed.
    margin : float
        "No change" is a result only inside this margin.
    tunes : tuple of str, optional
        Names of two tunes of one intake: then the question is about the tune.

    Raises
    ------
    InputError
        If a file, a setup key or the logs' content cannot be used.
    """
    setup = load_engine(engine_file)
    logs = read_logs((*before, *after), setup.channels)
    result = compare_logs(
        logs[: len(before)], logs[len(before) :], setup, rpm=rpm, margin=margin, tunes=tunes
    )
    return replace(result, inputs=(*setup_inputs(engine_file, setup), *result.inputs))


def compare_logs(
    before: Sequence[Log],
    after: Sequence[Log],
    setup: EngineSetup,
    *,
    rpm: tuple[float, float] | None = None,
    margin: float = DEFAULT_MARGIN,
    tunes: tuple[str, str] | None = None,
) -> CompareResult:
    """Compare logs of two configurations; see `run`."""
    weather = setup.weather
    told = [
        *(with_weather(log, weather.before, weather) for log in before),
        *(with_weather(log, weather.after, weather) for log in after),
    ]
    check_configurations(setup.measured, (BEFORE, AFTER), where="engine.toml")
    runs = make_runs(told, setup)
    is_after = [k >= len(before) for k in range(len(runs))]
    seen = observe(runs, setup, is_after)
    require_driven(seen.cells, rpm)
    given = replace(_given(seen, len(before), setup, tunes), margin=margin, rpm=rpm)
    weighed = compare_pair(given)
    roles = [AFTER if a else BEFORE for a in is_after]
    odd = odd_logs(seen, roles, setup.engine)
    pair = weighed.result
    return CompareResult(
        engine=setup.engine.name,
        window=window_of(seen, weighed),
        margin=margin,
        pairs=(pair,),
        logs=log_uses(seen, roles, odd),
        priors=prior_rows(given.table),
        findings=(
            *match_findings(seen, roles),
            *contradicted(given, weighed),
            *_without_odd(given, pair, odd, roles),
            *seen.findings,
        ),
        assumptions=(*seen.assumptions, *split_assumptions(weighed)),
        inputs=tuple(input_file(r, name) for r, name in zip(runs, roles, strict=True)),
        curves=curves_of(seen, weighed.matched, setup, roles),
        boost_control=pair.boost_control,
        power_corrections=pair.power_corrections,
        units_read=own_units([*before, *after]),
    )


def _given(
    seen: Observations, count_before: int, setup: EngineSetup, tunes: tuple[str, str] | None
) -> PairInput:
    """Return what the pair is judged by: the first `count_before` runs against the others."""
    shown = traces(seen.runs, setup, seen.sizes)
    tune = bool(tunes and tunes[0] != tunes[1])
    return PairInput(
        seen=seen,
        before=tuple(range(count_before)),
        after=tuple(range(count_before, len(seen.runs))),
        setup=setup,
        table=prior_table(setup.priors, setup.measured),
        tune=tunes[1] if tunes else "",
        question=TUNE if tune else INTAKE,
        same_tune=not tune,
        one_session=setup.weather.one_session,
        depression_pa=declared_depression(setup),
        bore_before_m=setup.intake.bore_before_m,
        measured=setup.measured,
        spool_up=spool_up(shown[:count_before], shown[count_before:], seen.sizes),
    )


def _without_odd(
    given: PairInput, pair: PairResult, odd: Sequence[str], roles: Sequence[str]
) -> tuple[Finding, ...]:
    """Return which logs stand out, with the answer without them."""
    out = left_out(odd, roles)
    again = []
    if out:
        kept = replace(
            given,
            before=tuple(k for k in given.before if k not in out),
            after=tuple(k for k in given.after if k not in out),
        )
        again.append(compare_pair(kept).result)
    return runs_left_out([pair], again, odd, given.seen.runs)


def declared_depression(setup: EngineSetup) -> tuple[float | None, float | None]:
    """Return the declared intake depression before and after. [Pa]"""
    own = setup.intake
    before, after = own.depression_before_kpa, own.depression_after_kpa
    return (None if before is None else 1e3 * before, None if after is None else 1e3 * after)


def split_assumptions(weighed: Weighed) -> tuple[Assumption, ...]:
    """Return what the split of the engine's change takes for granted."""
    return () if weighed.change is None else weighed.change.parts.assumptions


def window_of(seen: Observations, weighed: Weighed) -> Window:
    """Return the window of engine speed that was compared."""
    if weighed.matched is not None:
        return Window(
            engine_speed_rpm=weighed.matched.window_rpm,
            bins=int(weighed.matched.filled.sum()),
            kind="full-load pulls",
        )
    speed = seen.cells.speed_rpm
    low, high = (float(speed.min()), float(speed.max())) if speed.size else (0.0, 0.0)
    return Window(engine_speed_rpm=(low, high), bins=0, kind="states driven")
