"""What should the MAF transfer table be now?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from airsense.errors import InputError
from airsense.evidence.priors import PriorTable
from airsense.jobs.compare import AFTER, BEFORE
from airsense.jobs.comparison.logs import log_uses, match_findings, odd_findings, prior_rows
from airsense.jobs.comparison.odd import odd_logs, outvoted
from airsense.jobs.observe import Observations, input_file, make_runs, observe
from airsense.jobs.provenance import file_input, setup_inputs
from airsense.jobs.rescaling.answer import (
    Given,
    answer,
    no_answer,
    regions_not_used,
    routes_of,
)
from airsense.jobs.rescaling.judged import judge_logs
from airsense.jobs.rescaling.result import RescaleResult
from airsense.logs.log import Log
from airsense.logs.own_units import own_units
from airsense.logs.suggest import read_logs
from airsense.report.files import refuse_inputs, refuse_overwrite, write_bytes, write_text
from airsense.report.table_note import note
from airsense.results import Finding, Severity
from airsense.setup.engine import EngineSetup
from airsense.setup.load import load_engine
from airsense.transfer.cells import Step
from airsense.transfer.decision import Decision, table_alone
from airsense.transfer.file import read_table, refuse_same_file, table_bytes
from airsense.transfer.model import TransferTable
from airsense.transfer.signal import through_table
from airsense.transfer.table_check import mistyped_rows, require_engine, require_same_unit

# What the options take: a step of a tenth of a percent to a doubling, a part of a twentieth to all.
MAX_STEP = (0.001, 1.0)
SHARE = (0.05, 1.0)

_ROLES = {BEFORE: "baseline", AFTER: "present"}


def run(
    engine_file: Path,
    logs: Sequence[Path],
    table_file: Path,
    *,
    baseline: Sequence[Path] = (),
    baseline_table: Path | None = None,
    max_step: float = 0.10,
    share: float = 1.0,
    force_cause: bool = False,
) -> RescaleResult:
    """Return the new transfer table for log files with the present tube.

    Parameters
    ----------
    engine_file : path
        engine.toml.
    logs, baseline : sequence of path
        Logs with the present tube and table; logs with the old tube and a trusted table.
    table_file, baseline_table : path
        The transfer table in force when `logs` were taken, and when `baseline` were.
    max_step : float
        Largest change of a breakpoint in one go, as a fraction.
    share : float
        Part of the correction to apply, as a fraction.
    force_cause : bool
        Take it that nothing but the table is at work.

    Raises
    ------
    InputError
        If a file, a setup key or the logs' content cannot be used.
    """
    _require("--max-step", max_step, MAX_STEP)
    _require("--apply", share, SHARE)
    setup = load_engine(engine_file)
    table = read_table(table_file)
    old = None if baseline_table is None else read_table(baseline_table)
    read = read_logs((*logs, *baseline), setup.channels)
    result = rescale_logs(
        read[: len(logs)],
        setup,
        table,
        baseline=read[len(logs) :],
        baseline_table=old,
        max_step=max_step,
        share=share,
        force_cause=force_cause,
    )
    own = [*setup_inputs(engine_file, setup), file_input(table_file, "table")]
    if baseline_table is not None:
        own.append(file_input(baseline_table, "baseline table"))
    return replace(result, inputs=(*own, *result.inputs))


def _require(option: str, value: float, bounds: tuple[float, float]) -> None:
    if not bounds[0] <= value <= bounds[1]:
        raise InputError(
            f"{option} is outside what is sensible",
            where=f"airsense rescale {option}",
            got=f"{100.0 * value:g} %",
            allowed=f"{100.0 * bounds[0]:g} to {100.0 * bounds[1]:g} %",
            fix=f"give percent, such as {option} 50",
        )


def rescale_logs(
    logs: Sequence[Log],
    setup: EngineSetup,
    table: TransferTable,
    *,
    baseline: Sequence[Log] = (),
    baseline_table: TransferTable | None = None,
    max_step: float = 0.10,
    share: float = 1.0,
    force_cause: bool = False,
) -> RescaleResult:
    """Return the new transfer table for logs; see `run`."""
    require_engine(table, setup.engine)
    through = [through_table(log, table) for log in logs]
    trusted = [_trusted(log, baseline_table) for log in baseline]
    runs = make_runs([*trusted, *(t.log for t in through)], setup)
    is_after = [k >= len(trusted) for k in range(len(runs))]
    roles = [AFTER if a else BEFORE for a in is_after]
    seen = observe(runs, setup, is_after)
    require_same_unit(table, seen.cells)
    odd = odd_logs(seen, roles, setup.engine)
    aside = outvoted(odd, roles)
    given = Given(
        seen=_go_without(seen, setup, is_after, aside),
        table=table,
        setup=setup,
        step=Step(share=share, largest=max_step),
        forced=force_cause,
        level=not trusted,
    )
    result, prior = _answered(given, [a for k, a in enumerate(is_after) if k not in aside])
    own = (
        *(f for t in through for f in t.findings),
        *mistyped_rows(table),
        *odd_findings([], [], odd, runs, aside),
        *_of_logs(seen, roles),
    )
    return replace(
        result,
        engine=setup.engine.name,
        runs=len(logs),
        baseline_runs=len(trusted),
        routes=routes_of(seen),
        logs=log_uses(seen, roles, odd, aside),
        priors=prior_rows(prior),
        findings=tuple(dict.fromkeys((*result.findings, *own))),
        assumptions=seen.assumptions,
        inputs=tuple(map(input_file, runs, (_ROLES[role] for role in roles))),
        units_read=own_units(logs),
    )


def _go_without(
    seen: Observations, setup: EngineSetup, is_after: Sequence[bool], aside: Sequence[int]
) -> Observations:
    """Return the observations of all runs but some."""
    if not aside:
        return seen
    kept = [k for k in range(len(seen.runs)) if k not in aside]
    return observe([seen.runs[k] for k in kept], setup, [is_after[k] for k in kept])


def _of_logs(seen: Observations, roles: Sequence[str]) -> tuple[Finding, ...]:
    """Return what is to be said of the logs, whatever the table becomes."""
    return (*match_findings(seen, roles), *seen.findings, *regions_not_used(seen))


def _answered(given: Given, is_after: Sequence[bool]) -> tuple[RescaleResult, PriorTable]:
    """Return the new table, and the priors that it rests on."""
    prior = PriorTable().of_level() if given.level else PriorTable()
    judged = sworn = judge_logs(given.seen, is_after, given.setup, prior)
    if given.forced:
        prior = table_alone(prior)
        sworn = judge_logs(given.seen, is_after, given.setup, prior)
    if judged is None or sworn is None:
        return no_answer(given), prior
    return answer(given, judged, sworn), prior


def _trusted(log: Log, table: TransferTable | None) -> Log:
    """Return a baseline log with the flow of the table that was in force in it."""
    if table is not None:
        return through_table(log, table).log
    if "mass_air_flow" in log:
        return log
    raise InputError(
        "a baseline log holds the sensor's signal only, and no table says what flow it meant",
        where=log.path,
        got=", ".join(sorted(log.channels)),
        allowed="logged air flow, or the table that was in force when the baseline was logged",
        fix="add --baseline-table OLD.csv; read through the table in force now, each pass would "
        "move the baseline with it and never end",
    )


def check_out(out: Path, table_file: Path, *, force: bool) -> None:
    """Refuse an output that may not be written, before the work is done.

    Raises
    ------
    InputError
        If `out` is the present table, by whatever name, or it or its note exists.
    """
    refuse_same_file(out, str(table_file))
    for path in (out, note_path(out)):
        refuse_overwrite(path, force=force)


def note_path(out: Path) -> Path:
    """Return the file that carries cautions, support and findings beside a new table."""
    return out.with_name(out.name + ".note.txt")


def write_table(result: RescaleResult, table_file: Path, out: Path, *, force: bool = False) -> None:
    """Write the new table, and its note beside it; a table to be left is copied to the byte.

    Raises
    ------
    InputError
        If the result refuses a new table, or a file may not be written.
    """
    check_out(out, table_file, force=force)
    refuse_inputs([out, note_path(out)], result)
    if result.decision is Decision.REFUSED:
        raise InputError(
            "no new table was written",
            where=str(out),
            got="; ".join(f.code for f in result.findings if f.severity is Severity.ERROR),
            allowed="a difference that is the sensor's own",
            fix="mend what the findings name and log again, or add --force-cause",
        )
    if result.decision is Decision.LEAVE_IT:
        data = table_file.read_bytes()
    else:
        flow = np.array([cell.flow_new for cell in result.cells])
        data = table_bytes(read_table(table_file), flow)
    write_text(note_path(out), note(result, None), force=force)
    write_bytes(out, data, force=force)
