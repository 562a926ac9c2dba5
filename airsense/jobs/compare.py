"""Is the gain real, and is it the intake's? Before and after, from logs to a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from airsense.estimates.weather import with_weather
from airsense.evidence.spool_up import Trace, spool_up, traces
from airsense.evidence.verdict import DEFAULT_MARGIN
from airsense.jobs.comparison.contradiction import contradicted
from airsense.jobs.comparison.given import INTAKE, TUNE, PairInput
from airsense.jobs.comparison.logs import (
    log_uses,
    match_findings,
    odd_findings,
    prior_rows,
)
from airsense.jobs.comparison.odd import left_out, odd_logs, outvoted
from airsense.jobs.comparison.pair import Weighed, compare_pair
from airsense.jobs.comparison.result import CompareResult, Window
from airsense.jobs.curves import curves_of
from airsense.jobs.declared import prior_table
from airsense.jobs.driven_window import require_driven
from airsense.jobs.observe import Observations, input_file, make_runs, observe
from airsense.jobs.provenance import setup_inputs
from airsense.logs.log import Log
from airsense.logs.own_units import own_units
from airsense.logs.suggest import read_logs
from airsense.results import Assumption
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
    sides = ((before, weather.before), (after, weather.after))
    told = [with_weather(log, own, weather) for logs, own in sides for log in logs]
    check_configurations(setup.measured, (BEFORE, AFTER), where="engine.toml")
    runs = make_runs(told, setup)
    is_after = [k >= len(before) for k in range(len(runs))]
    seen = observe(runs, setup, is_after)
    require_driven(seen.cells, rpm)
    roles = [AFTER if a else BEFORE for a in is_after]
    odd = odd_logs(seen, roles, setup.engine)
    aside, doubted = outvoted(odd, roles), left_out(odd, roles)
    shown = traces(runs, setup, seen.sizes)
    without = partial(
        _given, seen, shown, is_after, setup=setup, tunes=tunes, margin=margin, rpm=rpm
    )
    given = without(aside)
    weighed = compare_pair(given)
    other = [compare_pair(without(() if aside else doubted)).result] if doubted else []
    pair = weighed.result
    return CompareResult(
        engine=setup.engine.name,
        window=window_of(seen, weighed),
        margin=margin,
        pairs=(pair,),
        logs=log_uses(seen, roles, odd, aside),
        priors=prior_rows(given.table),
        findings=(
            *match_findings(seen, roles),
            *contradicted(given, weighed),
            *odd_findings([pair], other, odd, runs, aside),
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
    seen: Observations,
    shown: Sequence[Trace],
    is_after: Sequence[bool],
    without: Sequence[int],
    *,
    setup: EngineSetup,
    tunes: tuple[str, str] | None,
    margin: float,
    rpm: tuple[float, float] | None,
) -> PairInput:
    """Return what the pair is judged by, but for the runs to go without."""
    before, after = (
        tuple(k for k, a in enumerate(is_after) if a is side and k not in without)
        for side in (False, True)
    )
    tune = bool(tunes and tunes[0] != tunes[1])
    return PairInput(
        seen=seen,
        before=before,
        after=after,
        setup=setup,
        table=prior_table(setup.priors, setup.measured),
        tune=tunes[1] if tunes else "",
        question=TUNE if tune else INTAKE,
        one_session=setup.weather.one_session,
        depression_pa=declared_depression(setup),
        bore_before_m=setup.intake.bore_before_m,
        measured=setup.measured,
        margin=margin,
        rpm=rpm,
        spool_up=spool_up([shown[k] for k in before], [shown[k] for k in after], seen.sizes),
    )


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
