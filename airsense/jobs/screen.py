"""Which logs of a folder need a look? Each through `check` and against the others."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from airsense.jobs.provenance import setup_inputs
from airsense.jobs.screening.drift import vehicle_rows
from airsense.jobs.screening.files import MOST_NAMES, FoundLog, Listing, find_logs
from airsense.jobs.screening.log import Task
from airsense.jobs.screening.pool import Done, here, in_pool, processors
from airsense.jobs.screening.relative import with_suspicion
from airsense.jobs.screening.result import Outcome, OutcomeCount, ScreenResult, ScreenRow
from airsense.jobs.screening.state import State, fingerprint
from airsense.report.words import percent_interval
from airsense.results import Finding, Severity
from airsense.setup.engine import EngineSetup
from airsense.setup.load import load_engine

Watch = Callable[[int, int], None]
_ORDER = tuple(Outcome)
# So many vehicles do not get the same fault by chance: our choice.
MANY_VEHICLES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenOptions:
    """How to screen.

    Attributes
    ----------
    workers : int or None
        Processes side by side; None for one a processor. One works in this process.
    cluster : str or None
        Address of a dask.distributed scheduler, instead of processes of this machine.
    state : Path or None
        File that keeps what is finished, so that a second run does only the rest.
    rpm : tuple of float or None
        Window of engine speed.
    patterns : sequence of str
        Which files are logs; by their ending if empty.
    vehicle : str or None
        Regular expression that finds the vehicle in a path; the first folder without one.
    """

    workers: int | None = None
    cluster: str | None = None
    state: Path | None = None
    rpm: tuple[float, float] | None = None
    patterns: Sequence[str] = ()
    vehicle: str | None = None


def run(
    source: str,
    engine_file: Path,
    options: ScreenOptions | None = None,
    *,
    watch: Watch = lambda done, total: None,
) -> ScreenResult:
    """Check every log of a folder and of the folders below it.

    Parameters
    ----------
    source : str
        A folder, or a URL that fsspec understands.
    engine_file : Path
        The setup that all logs share.
    options : ScreenOptions, optional
        How to screen.
    watch : callable
        Called with the numbers of logs done and of all logs.

    Raises
    ------
    InputError
        If the folder, the setup, the state file or the cluster cannot be used; never for a log.
    """
    how = options or ScreenOptions()
    if how.cluster is not None:
        from airsense.jobs.screening.cluster import require_address

        require_address(how.cluster)
    declared = load_engine(engine_file)
    inputs = setup_inputs(engine_file, declared)
    setup = _everywhere(declared)
    listing = _without(find_logs(source, how.patterns, how.vehicle), how.state)
    state = State(how.state, fingerprint(inputs, how.rpm))
    try:
        found = _all_rows(listing, setup, state, how, watch)
    finally:
        state.close()
    named = [replace(found[log.name], vehicle=log.vehicle) for log in listing.logs]
    rows = sorted(with_suspicion(named), key=_rank)
    counts = Counter(row.outcome for row in rows)
    return ScreenResult(
        engine=setup.engine.name,
        source=source,
        sentence=_sentence(rows, counts),
        counts=tuple(OutcomeCount(outcome=o, logs=counts[o]) for o in _ORDER),
        logs=tuple(rows),
        vehicles=vehicle_rows(rows),
        findings=_findings(listing, rows),
        inputs=inputs,
    )


def _everywhere(setup: EngineSetup) -> EngineSetup:
    """Name the map file so that a process with another working folder finds it."""
    if setup.compressor_map is None:
        return setup
    file = str(Path(setup.compressor_map.file).absolute())
    found = setup.compressor_map.model_copy(update={"file": file})
    return setup.model_copy(update={"compressor_map": found})


def _without(listing: Listing, state: Path | None) -> Listing:
    """Leave out our own state file, whatever it is called."""
    own = "" if state is None else str(state.absolute())
    return replace(listing, logs=tuple(log for log in listing.logs if log.place != own))


def _all_rows(
    listing: Listing, setup: EngineSetup, state: State, how: ScreenOptions, watch: Watch
) -> dict[str, ScreenRow]:
    total = len(listing.logs)
    rows: dict[str, ScreenRow] = {}
    tasks = [_task(log, setup, state.rows, how.rpm) for log in listing.logs]
    watch(0, total)
    for task, fresh in _runner(tasks, listing, how):
        if fresh is not None:
            state.add(fresh)
        rows[task.name] = state.rows[task.name] if fresh is None else fresh
        watch(len(rows), total)
    return rows


def _task(
    log: FoundLog,
    setup: EngineSetup,
    done: Mapping[str, ScreenRow],
    rpm: tuple[float, float] | None,
) -> Task:
    return Task(
        name=log.name,
        place=log.place,
        filesystem=log.filesystem,
        setup=setup,
        rpm=rpm,
        done_sha256=done[log.name].sha256 if log.name in done else "",
    )


def _runner(tasks: Sequence[Task], listing: Listing, how: ScreenOptions) -> Iterator[Done]:
    if how.cluster is not None:
        from airsense.jobs.screening.cluster import on_cluster

        return on_cluster(tasks, how.cluster)
    workers = min(how.workers or processors(), len(tasks))
    return in_pool(tasks, workers) if workers > 1 and listing.shared else here(tasks)


def _rank(row: ScreenRow) -> tuple[float, int, str]:
    """Sort by suspicion; logs without an answer come last, by outcome and name."""
    score = float("-inf") if row.suspicion is None else row.suspicion
    return -score, _ORDER.index(row.outcome), row.log


def _sentence(rows: Sequence[ScreenRow], counts: Mapping[Outcome, int]) -> str:
    shown = ", ".join(f"{counts[o]} {o.value}" for o in _ORDER if counts[o])
    first = rows[0] if rows else None
    if first is None or first.suspicion is None or first.suspicion <= 1.0:
        return f"{len(rows)} logs: {shown}."
    off = first.against_others
    said = (
        f" It reads {percent_interval(off)} against the others."
        if off is not None and not off.contains(0.0)
        else ""
    )
    return f"{len(rows)} logs: {shown}. Look first at {first.log}.{said}"


def _findings(listing: Listing, rows: Sequence[ScreenRow]) -> tuple[Finding, ...]:
    found = []
    if listing.left_out:
        names = ", ".join(listing.left_out[:MOST_NAMES])
        more = ", …" if len(listing.left_out) > MOST_NAMES else ""
        found.append(
            Finding(
                code="files_left_out",
                severity=Severity.INFO,
                message=f"{len(listing.left_out)} files are no logs by their name: {names}{more}",
                fix="name them with --pattern if they are logs",
            )
        )
    twice = _same_content(rows)
    if twice:
        found.append(
            Finding(
                code="same_content",
                severity=Severity.WARNING,
                message=f"{twice} logs hold the same bytes as another one; in a drift they count "
                "once",
                fix="take the copies out",
            )
        )
    if _alike(rows):
        found.append(
            Finding(
                code="errors_alike",
                severity=Severity.WARNING,
                message="most vehicles read false to the same side: one wrong figure of the setup "
                "is likelier than so many sensors",
                fix="check displacement, volumetric efficiency, fuel and place of the charge "
                "temperature in engine.toml",
            )
        )
    return tuple(found)


def _alike(rows: Sequence[ScreenRow]) -> bool:
    """Whether most logs with an answer are implausible, all to one side, in several vehicles."""
    judged = [row for row in rows if row.sensor_error is not None]
    false = [row for row in judged if row.outcome is Outcome.IMPLAUSIBLE]
    sides = {row.sensor_error.value > 0.0 for row in false if row.sensor_error is not None}
    vehicles = {row.vehicle for row in false}
    return len(vehicles) >= MANY_VEHICLES and 2 * len(false) > len(judged) and len(sides) == 1


def _same_content(rows: Sequence[ScreenRow]) -> int:
    counts = Counter(row.sha256 for row in rows if row.sha256)
    return sum(n - 1 for n in counts.values())
