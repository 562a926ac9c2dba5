"""From logs to observations: runs, what was driven in them, the routes, and the table of cells.

Every log counts; what is left out of one says why, and no log stops the others.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from airsense.arrays import BoolArray
from airsense.errors import InputError
from airsense.estimates.ceiling import with_one_ceiling
from airsense.estimates.circular import (
    Identity,
    air_per_stroke_identity,
    circular_finding,
    lambda_identity,
    same_in_all,
)
from airsense.estimates.defaults import Defaults
from airsense.estimates.driven import Driven
from airsense.estimates.estimate import Estimate
from airsense.estimates.prepare import prepare
from airsense.estimates.recirculation import ValveShut, apparent_ve, valve_shut
from airsense.estimates.routes import Unused, sizes_for, usable_routes
from airsense.estimates.run import Run
from airsense.estimates.segments import FLOORED_PEDAL, Kind, Segmented, moved_pedal, segment
from airsense.evidence.budget import RouteBudget, route_budget
from airsense.evidence.cells import Cells, cut
from airsense.evidence.matched import Matched, Sweeps, match
from airsense.evidence.rest import Rest, find_rest
from airsense.logs.log import Log
from airsense.logs.suggest import or_suggested
from airsense.results import Assumption, Finding, InputFile, Severity
from airsense.setup.engine import EngineSetup, TemperaturePlace

# ln of the odds, 50 to 1, at which one log leaves no doubt where its thermometer is: our choice.
SURE_OF_PLACE_LN = 3.9
# A log is a full-load sweep where its pulls fill this share of the time under load, or the pedal
# shows that they were driven with the pedal down: our choice.
SWEEP_SHARE = 0.4
# Full cylinders hold 0.8 to 1.05 of their volume at manifold state (common practice, no source):
# half of it is neither a sound engine nor a usual error of a sensor.
HALF = (0.36, 0.56)


@dataclass(frozen=True, slots=True, kw_only=True)
class Observations:
    """Everything that was driven, ready for the evidence; sequences in the order of the runs.

    `routes` are those that every run supports; `sweeps` says which runs are full-load sweeps,
    `no_match` why a run gives no cell, by its number.
    """

    runs: tuple[Run, ...]
    cuts: tuple[Segmented, ...]
    shut: tuple[ValveShut | None, ...]
    estimates: Mapping[str, Sequence[Estimate]]
    unused: tuple[Unused, ...]
    sizes: Defaults
    budget: RouteBudget
    cells: Cells
    rest: Rest
    sweeps: tuple[bool, ...]
    no_match: Mapping[int, str]
    findings: tuple[Finding, ...]
    assumptions: tuple[Assumption, ...]

    def matched(
        self, numbers: Sequence[int], after: Sequence[bool], rpm: tuple[float, float] | None
    ) -> Matched | None:
        """Return the full load that the runs share; `after` marks those to be compared."""
        sweeps = Sweeps(
            runs=self.runs,
            cuts=self.cuts,
            is_sweep=self.sweeps,
            estimates=self.estimates,
            sizes=self.sizes,
            wanted_rpm=rpm,
        )
        return match(sweeps, numbers, after)


def input_file(run: Run, role: str) -> InputFile:
    """Return the provenance of a run."""
    return InputFile(path=run.log.path, sha256=run.log.sha256, role=role)


def make_runs(logs: Sequence[Log], setup: EngineSetup) -> tuple[Run, ...]:
    """Return prepared runs with circular channels taken out, and findings.

    Raises
    ------
    InputError
        If a log lacks engine speed or the air flow.
    """
    limited = with_one_ceiling(logs)
    runs = [prepare(log, setup) for log in limited]
    place = _one_place(runs)
    if place is not None:
        runs = [prepare(log, setup, place) for log in limited]
    return tuple(_without_circular(_with_copies_marked([_require_maf(r) for r in runs]), setup))


def _one_place(runs: Sequence[Run]) -> TemperaturePlace | None:
    """Return where logs that disagree take their charge temperature together; None if they agree.

    Two that are both beyond doubt show a sensor that was moved: each keeps its own. So do logs
    of different thermometers.
    """
    told = [r for r in runs if np.isfinite(r.ln_place_odds)]
    thermometers = {"charge_temperature" in r.log for r in told}
    if len({r.charge_estimated for r in told}) < 2 or len(thermometers) > 1:
        return None
    odds = np.array([r.ln_place_odds for r in told])
    if odds.max() > SURE_OF_PLACE_LN and odds.min() < -SURE_OF_PLACE_LN:
        return None
    behind = float(odds.mean()) > 0.0
    return TemperaturePlace.AFTER_COOLER if behind else TemperaturePlace.BEFORE_COMPRESSOR


def observe(runs: Sequence[Run], setup: EngineSetup, after: Sequence[bool]) -> Observations:
    """Cut runs into cells of all routes.

    Parameters
    ----------
    runs : sequence of Run
        From `make_runs`.
    setup : EngineSetup
    after : sequence of bool
        Whether a run shows the second configuration.

    Raises
    ------
    InputError
        If no run has any route to the air flow without the sensor under test.
    """
    sizes = sizes_for(runs, setup)
    routes, unused = usable_routes(runs, setup)
    if not routes:
        raise no_route(runs, unused)
    cuts = tuple(segment(run) for run in runs)
    sweeps = tuple(_is_sweep(r, c) for r, c in zip(runs, cuts, strict=True))
    shut = tuple(
        None if r.p_manifold_pa is None else valve_shut(r, c, setup)
        for r, c in zip(runs, cuts, strict=True)
    )
    driven = [
        Driven(run=r, found=c, shut=v, sweep=sweep)
        for r, c, v, sweep in zip(runs, cuts, shut, sweeps, strict=True)
    ]
    estimates = {
        route.method: [
            _where_it_holds(route.estimate(d.run, setup, sizes), route.holds(d)) for d in driven
        ]
        for route in routes
    }
    cells = cut(runs, cuts, estimates, after, sweeps)
    return Observations(
        runs=tuple(runs),
        cuts=cuts,
        shut=shut,
        estimates=estimates,
        unused=unused,
        sizes=sizes,
        budget=route_budget(estimates, sizes),
        cells=cells,
        rest=find_rest(runs, cuts, after, setup.engine.ignition),
        sweeps=sweeps,
        no_match=_without_cells(cells, cuts, shut),
        findings=_findings(runs, shut, setup),
        assumptions=_assumptions(runs, estimates, sizes),
    )


def no_route(runs: Sequence[Run], unused: Sequence[Unused]) -> InputError:
    """Return the error of runs that no route can judge, with what each route lacks."""
    return InputError(
        "no route to the air flow without the sensor under test",
        where=", ".join(run.name for run in runs),
        got="; ".join(f"{u.method}: {u.reason}" for u in unused),
        allowed="manifold pressure (speed density), or fuel quantity with measured lambda",
        fix=or_suggested(
            (f for run in runs for f in run.findings),
            "log manifold pressure and charge temperature, or fuel and a wide-band lambda",
        ),
    )


def _is_sweep(run: Run, found: Segmented) -> bool:
    """Return whether the pulls of a run are full-load sweeps, and not parts of a drive."""
    pulls = found.of(Kind.PULL)
    if not pulls:
        return False
    pedal = moved_pedal(run)
    if pedal is not None:
        return float(np.nanmax(pedal)) >= FLOORED_PEDAL
    loaded = ~np.isin(found.kind, (Kind.STILL, Kind.IDLE, Kind.OVERRUN))
    pulled = sum(s.stop - s.first for s in pulls)
    return bool(pulled >= SWEEP_SHARE * np.count_nonzero(loaded))


def _where_it_holds(estimate: Estimate, holds: BoolArray) -> Estimate:
    return replace(estimate, mdot_kgps=np.where(holds, estimate.mdot_kgps, np.nan))


def _without_cells(
    cells: Cells, cuts: Sequence[Segmented], shut: Sequence[ValveShut | None]
) -> dict[int, str]:
    """Return why some runs give no cell under load."""
    laden = cells.run[cells.laden]
    out = {}
    for k, (found, valve) in enumerate(zip(cuts, shut, strict=True)):
        if k in laden:
            continue
        driven = found.of(Kind.PULL, Kind.HOLD, Kind.DRIVE)
        if valve is not None and valve.reason and driven:
            out[k] = valve.reason
        elif not driven:
            out[k] = "the engine was never under load"
        else:
            out[k] = "no stretch was steady enough with all channels there"
    return out


def _half_the_air(runs: Sequence[Run], setup: EngineSetup) -> list[Finding]:
    """Return a finding where every reading is about half of what the cylinders hold."""
    shares = []
    for run in runs:
        ve = apparent_ve(run, setup)
        if ve is None or not np.isfinite(ve).any():
            return []
        shares.append(float(np.nanquantile(ve, 0.75)))
    if not all(low < share < high for share in shares for low, high in (HALF,)):
        return []
    return [
        Finding(
            code="half_of_the_air",
            severity=Severity.WARNING,
            message=f"the reading is {100.0 * float(np.median(shares)):.0f} % of what the "
            "cylinders hold: the sensor of one bank of two would read so",
            fix="log the other sensor too, and write both columns: [channels] mass_air_flow = "
            '["first column", "second column"]',
            where=", ".join(run.name for run in runs),
        )
    ]


def _findings(
    runs: Sequence[Run], shut: Sequence[ValveShut | None], setup: EngineSetup
) -> tuple[Finding, ...]:
    out = [f for run in runs for f in run.findings] + _half_the_air(runs, setup)
    for run, valve in zip(runs, shut, strict=True):
        if valve is not None and valve.groups is not None and valve.found:
            out.append(
                Finding(
                    code="recirculation_suspected",
                    severity=Severity.WARNING,
                    message="under boost the apparent volumetric efficiency falls into two "
                    f"groups, about {valve.groups.low:.2f} and {valve.groups.high:.2f}; exhaust "
                    "gas recirculation that displaces fresh air would give that; only samples "
                    f"with the valve shut are compared ({valve.count} looks at them)",
                    fix="log the recirculation rate or valve position, or test with the valve shut",
                    where=run.name,
                )
            )
    return tuple(dict.fromkeys(out))


def _assumptions(
    runs: Sequence[Run], estimates: Mapping[str, Sequence[Estimate]], sizes: Defaults
) -> tuple[Assumption, ...]:
    noted = [
        Assumption(quantity=f"route {name}", value=note, source="the logs cannot show it")
        for name, per_run in estimates.items()
        for estimate in per_run
        for note in estimate.notes
    ]
    own = [a for run in runs for a in run.assumptions]
    return tuple(dict.fromkeys([*own, *noted, *sizes.assumptions()]))


def _require_maf(run: Run) -> Run:
    if run.mdot_maf_kgps is None:
        raise InputError(
            "mass air flow is missing",
            where=run.name,
            got=", ".join(sorted(run.log.channels)),
            allowed="a log with the air-flow sensor's reading",
            fix=or_suggested(
                run.findings, "log mass air flow, or name its column in [channels] of engine.toml"
            ),
        )
    return run


def _with_copies_marked(runs: Sequence[Run]) -> list[Run]:
    """Say of a log that is given twice that it is no repeat: it scatters less than a run would."""
    first: dict[str, Run] = {}
    out = []
    for run in runs:
        original = first.setdefault(run.log.sha256, run)
        if original is run or not run.log.sha256:
            out.append(run)
            continue
        copy = Finding(
            code="same_content",
            severity=Severity.WARNING,
            message="this log holds the same bytes as another: a copy is no repeat, and the "
            "intervals are too narrow",
            fix="give each log once",
            where=f"{run.name}, as {original.name}",
        )
        out.append(replace(run, findings=(*run.findings, copy)))
    return out


def _without_circular(runs: Sequence[Run], setup: EngineSetup) -> list[Run]:
    """Take lambda out of all runs if it is circular in any: one configuration alone is no use."""
    lambdas = [lambda_identity(run) for run in runs]
    together = same_in_all(lambdas)
    if together:
        lambdas = [None if i is None else replace(i, circular=True, untold=False) for i in lambdas]
    proof = next((i for i in lambdas if i is not None and i.circular), None)
    out = []
    for run, identity in zip(runs, lambdas, strict=True):
        findings = list(run.findings)
        if identity is not None and identity.circular:
            findings.append(circular_finding(identity, run.name))
        stroke = air_per_stroke_identity(run, setup.engine)
        if stroke is not None and stroke.circular:
            findings.append(circular_finding(stroke, run.name))
        changed = replace(run, findings=tuple(findings))
        if proof is not None and run.lambda_ is not None:
            changed = replace(changed, lambda_=None, lambda_excluded=_why_excluded(proof))
        out.append(changed)
    return out


def _why_excluded(proof: Identity) -> str:
    if proof.untold:
        return (
            "lambda cannot be told from one that is computed from the air-flow sensor (they agree "
            f"to {100 * proof.residual:.1f} %): no evidence"
        )
    return (
        "lambda is computed from the air-flow sensor (constant ratio to "
        f"{100 * proof.residual:.2f} %): circular, no evidence"
    )
