"""What should the MAF transfer table be now?"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from airsense.errors import InputError
from airsense.estimates import fuel_lambda, maf, speed_density
from airsense.estimates.defaults import Defaults
from airsense.estimates.estimate import Estimate
from airsense.estimates.routes import Route, sizes_for, usable_routes
from airsense.estimates.run import Run
from airsense.estimates.segments import Segment, find_segments, steady_samples
from airsense.jobs.pairing import make_runs, no_route
from airsense.jobs.provenance import file_input, setup_inputs
from airsense.jobs.rescale_beliefs import beliefs
from airsense.logs.log import Log
from airsense.logs.own_units import own_units
from airsense.logs.read import read_log
from airsense.report.files import refuse_overwrite, write_bytes, write_text
from airsense.report.text_rescale import note
from airsense.results import Finding, InputFile, Severity
from airsense.setup.engine import EngineSetup
from airsense.setup.load import load_engine
from airsense.transfer.file import read_table, refuse_same_file, table_bytes
from airsense.transfer.model import TransferTable
from airsense.transfer.rescale import Options, rescale
from airsense.transfer.result import Decision, RescaleResult, RouteUse
from airsense.transfer.samples import ReferenceSamples, RouteSamples
from airsense.transfer.signal import through_table

FloatArray = NDArray[np.float64]

# Routes that say something about absolute flow sample by sample.
METHODS = (speed_density.METHOD, fuel_lambda.METHOD)
MAX_STEP = (0.001, 1.0)
RECIRCULATION = "recirculation_suspected"
# Two routes that part by more than this, against the pulls, see something else than breathing.
MAX_ROUTE_GAP_LN = 0.06


def run(
    engine_file: Path,
    logs: Sequence[Path],
    table_file: Path,
    *,
    baseline: Sequence[Path] = (),
    max_step: float = 0.10,
    force_cause: bool = False,
) -> RescaleResult:
    """Return the new transfer table for log files with the present tube.

    Parameters
    ----------
    engine_file : path
        engine.toml.
    logs, baseline : sequence of path
        Logs with the present tube and table; logs with the old tube and a trusted table.
    table_file : path
        The transfer table in force when `logs` were taken.
    max_step : float
        Largest change of a breakpoint in one go, as a fraction.
    force_cause : bool
        Bake a difference into the table even where it is not the sensor's.

    Raises
    ------
    InputError
        If a file, a setup key or the logs' content cannot be used.
    """
    if not MAX_STEP[0] <= max_step <= MAX_STEP[1]:
        raise InputError(
            "--max-step is outside what is sensible",
            where="airsense rescale --max-step",
            got=f"{100.0 * max_step:g} %",
            allowed=f"{100.0 * MAX_STEP[0]:g} to {100.0 * MAX_STEP[1]:g} %",
            fix="give percent, such as --max-step 10",
        )
    setup = load_engine(engine_file)
    table = read_table(table_file)
    present = [read_log(path, channels=setup.channels) for path in logs]
    trusted = [read_log(path, channels=setup.channels) for path in baseline]
    result = rescale_logs(
        present, setup, table, baseline=trusted, max_step=max_step, force_cause=force_cause
    )
    own = (*setup_inputs(engine_file, setup), file_input(table_file, "table"))
    return replace(result, inputs=(*own, *result.inputs))


def rescale_logs(
    logs: Sequence[Log],
    setup: EngineSetup,
    table: TransferTable,
    *,
    baseline: Sequence[Log] = (),
    max_step: float = 0.10,
    force_cause: bool = False,
) -> RescaleResult:
    """Return the new transfer table for logs; see `run`."""
    through = [through_table(log, table) for log in logs]
    trusted = [log if "mass_air_flow" in log else through_table(log, table).log for log in baseline]
    runs = make_runs([*trusted, *(t.log for t in through)], setup)
    sizes = sizes_for(runs, setup)
    routes, unused = _routes(runs, setup)
    segments = find_segments(runs)
    per_route = _estimates(runs, routes, setup, sizes)
    usable = _with_part_load(_usable(runs, segments), runs, per_route)
    samples = _samples(runs, usable, len(trusted), per_route, sizes)
    sweeps = all(s.kind == "pull" for s in segments)
    options = Options(
        max_step=max_step,
        force_cause=force_cause,
        bore_before_m=setup.intake.bore_before_m,
        bore_after_m=setup.intake.bore_after_m,
        beliefs=beliefs(runs, len(trusted), setup) if sweeps and trusted else (),
        recirculation=any(f.code == RECIRCULATION for r in runs for f in r.findings),
    )
    result = rescale(table, samples, options, where=", ".join(log.path for log in logs))
    own: list[Finding] = [f for t in through for f in t.findings]
    own += [f for r in runs for f in r.findings]
    return replace(
        result,
        engine=setup.engine.name,
        routes=(*result.routes, *unused),
        findings=tuple(dict.fromkeys((*result.findings, *own))),
        assumptions=(
            *dict.fromkeys(a for r in runs for a in r.assumptions),
            *sizes.assumptions(),
        ),
        inputs=(
            *(InputFile(path=g.path, sha256=g.sha256, role="baseline") for g in baseline),
            *(InputFile(path=g.path, sha256=g.sha256, role="present") for g in logs),
        ),
        units_read=own_units(logs),
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
    """Write the new table, and its note beside it.

    Raises
    ------
    InputError
        If the result refuses a new table, or a file may not be written.
    """
    check_out(out, table_file, force=force)
    if result.decision is Decision.REFUSED:
        raise InputError(
            "no new table was written",
            where=str(out),
            got="; ".join(f.code for f in result.findings if f.severity is Severity.ERROR),
            allowed="a difference that is the sensor's own",
            fix="mend what the findings name and log again, or add --force-cause",
        )
    flow = np.array([cell.flow_new for cell in result.cells])
    write_text(note_path(out), note(result, None), force=force)
    write_bytes(out, table_bytes(read_table(table_file), flow), force=force)


def _routes(runs: Sequence[Run], setup: EngineSetup) -> tuple[list[Route], tuple[RouteUse, ...]]:
    usable, unused = usable_routes(runs, setup)
    routes = [route for route in usable if route.method in METHODS]
    missing = [u for u in unused if u.method in METHODS]
    if not routes:
        raise no_route(runs, missing)
    return routes, tuple(RouteUse(method=u.method, used=False, reason=u.reason) for u in missing)


def _estimates(
    runs: Sequence[Run], routes: Sequence[Route], setup: EngineSetup, sizes: Defaults
) -> dict[str, list[Estimate]]:
    return {route.method: [route.estimate(r, setup, sizes) for r in runs] for route in routes}


def _samples(
    runs: Sequence[Run],
    usable: Sequence[NDArray[np.bool_]],
    n_baseline: int,
    per_route: Mapping[str, Sequence[Estimate]],
    sizes: Defaults,
) -> ReferenceSamples:
    def joined(parts: Sequence[FloatArray]) -> FloatArray:
        return np.concatenate([np.where(u, p, np.nan) for u, p in zip(usable, parts, strict=True)])

    return ReferenceSamples(
        run=np.concatenate([np.full(r.time_s.size, k) for k, r in enumerate(runs)]),
        present=np.concatenate(
            [np.full(r.time_s.size, k >= n_baseline) for k, r in enumerate(runs)]
        ),
        time_s=np.concatenate([r.time_s for r in runs]),
        ln_indicated=joined([maf.indicated(r, sizes).ln_flow for r in runs]),
        speed_rpm=np.concatenate([r.speed_rpm for r in runs]),
        p_manifold_pa=np.concatenate([_or_nan(r.p_manifold_pa, r) for r in runs]),
        p_ambient_pa=np.concatenate([np.full(r.time_s.size, r.p_ambient_pa) for r in runs]),
        routes=tuple(_route_samples(m, e, joined) for m, e in per_route.items()),
        u_run_sensor=sizes.mass_air_flow.run,
        dof=float(np.mean([i.dof for e in per_route.values() for i in e[0].budget])),
    )


def _or_nan(values: FloatArray | None, run_: Run) -> FloatArray:
    return np.full(run_.time_s.size, np.nan) if values is None else values


def _usable(runs: Sequence[Run], segments: Sequence[Segment]) -> list[NDArray[np.bool_]]:
    """Return the samples of each run that are worth a comparison: its pulls, else steady ones."""
    masks = {id(r): np.zeros(r.time_s.size, dtype=bool) for r in runs}
    for segment in segments:
        masks[id(segment.run)] |= segment.use
    return [masks[id(r)] for r in runs]


def _with_part_load(
    usable: Sequence[NDArray[np.bool_]],
    runs: Sequence[Run],
    per_route: Mapping[str, Sequence[Estimate]],
) -> list[NDArray[np.bool_]]:
    """Add steady samples beside the pulls where two routes agree as they do in the pulls.

    Recirculated gas, fuel cut and a lambda sensor that lags all part the routes; one route alone
    could not see them, and then only the pulls are used.
    """
    if len(per_route) < 2:
        return list(usable)
    first, second, *_ = ([e.ln_flow for e in estimates] for estimates in per_route.values())
    gaps = [a - b for a, b in zip(first, second, strict=True)]
    known = np.concatenate([g[u & np.isfinite(g)] for g, u in zip(gaps, usable, strict=True)])
    if known.size == 0:
        return list(usable)
    middle = float(np.median(known))
    with np.errstate(invalid="ignore"):
        return [
            u | (steady_samples(r) & (np.abs(g - middle) < MAX_ROUTE_GAP_LN))
            for u, r, g in zip(usable, runs, gaps, strict=True)
        ]


def _route_samples(
    method: str, estimates: Sequence[Estimate], joined: Callable[[Sequence[FloatArray]], FloatArray]
) -> RouteSamples:
    def largest(kind: str) -> float:
        per_run = [sum(getattr(i, kind) ** 2 for i in e.budget) for e in estimates]
        return float(np.sqrt(max(per_run)))

    return RouteSamples(
        method=method,
        ln_flow=joined([e.ln_flow for e in estimates]),
        u_absolute=largest("absolute"),
        u_between=largest("between"),
        u_run=largest("run"),
        breathing=method == speed_density.METHOD,
    )
