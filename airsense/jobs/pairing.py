"""Runs of several configurations made ready for comparison: routes, segments, bins."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airsense.errors import InputError
from airsense.estimates import compressor_map, maf
from airsense.estimates.circular import (
    Identity,
    air_per_stroke_identity,
    circular_finding,
    lambda_identity,
    same_in_all,
)
from airsense.estimates.defaults import Defaults
from airsense.estimates.estimate import Estimate, Influence, influence_of
from airsense.estimates.prepare import prepare
from airsense.estimates.recirculation import mask_recirculation
from airsense.estimates.routes import Route, Unused, sizes_for, usable_routes
from airsense.estimates.run import Run
from airsense.estimates.segments import Segment, find_segments
from airsense.evidence.bins import BinTable, bin_runs, common_window
from airsense.logs.log import Log
from airsense.results import Assumption, Finding, InputFile, Severity
from airsense.setup.engine import EngineSetup

FloatArray = NDArray[np.float64]

# A route that gives way may cost the others at most the rest of the samples: our choice.
MIN_VALID_SHARE = 0.9
# Below this any route gives way: a manifold-pressure sensor at its ceiling would leave no bins.
MIN_VALID_SHARE_ALONE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The window of engine speed that was used, and what kind of samples."""

    engine_speed_rpm: tuple[float, float]
    bins: int
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """Everything that the evidence needs, for all repeats of all configurations."""

    runs: tuple[Run, ...]
    segments: tuple[Segment, ...]
    run_of_segment: tuple[int, ...]
    table: BinTable
    budgets: Mapping[str, Sequence[Influence]]
    power_budget: tuple[Influence, ...]
    fuel_budget: tuple[Influence, ...]
    unused: tuple[Unused, ...]
    window_rpm: tuple[float, float]
    sizes: Defaults
    findings: tuple[Finding, ...]
    assumptions: tuple[Assumption, ...]

    @property
    def controlled(self) -> bool:
        """Whether the repeats are sweeps of one kind."""
        return all(s.kind == "pull" for s in self.segments)

    @property
    def window(self) -> Window:
        """The window as it is shown."""
        return Window(
            engine_speed_rpm=self.window_rpm,
            bins=self.table.n_bins,
            kind="full-load pulls" if self.controlled else "quasi-steady samples",
        )

    def p_ambient_pa(self) -> float:
        """Return the mean ambient pressure of the runs."""
        return float(np.mean([run.p_ambient_pa for run in self.runs]))


def input_file(run: Run, role: str) -> InputFile:
    """Return the provenance of a run."""
    return InputFile(path=run.log.path, sha256=run.log.sha256, role=role)


def make_runs(logs: Sequence[Log], setup: EngineSetup) -> tuple[Run, ...]:
    """Return prepared runs: circular channels taken out, recirculation masked, with findings.

    Raises
    ------
    InputError
        If a log lacks engine speed or the air flow.
    """
    runs = [_require_maf(prepare(log, setup)) for log in logs]
    runs = _with_copies_marked(_without_circular(runs, setup))
    return tuple(mask_recirculation(run, setup) for run in runs)


def _require_maf(run: Run) -> Run:
    if run.mdot_maf_kgps is None:
        raise InputError(
            "mass air flow is missing",
            where=run.name,
            got=", ".join(sorted(run.log.channels)),
            allowed="a log with the air-flow sensor's reading",
            fix="log mass air flow, or name its column in [channels] of engine.toml",
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
            message=f"{run.name} holds the same bytes as {original.name}: a copy is no repeat, and "
            "the intervals are too narrow",
            fix="give each log once",
            where=run.name,
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


def make_ready(runs: Sequence[Run], setup: EngineSetup, rpm: tuple[float, float] | None) -> Ready:
    """Return the runs with their routes, binned over the common window.

    Raises
    ------
    InputError
        If there is no route at all, or the runs share no window of engine speed.
    """
    sizes = sizes_for(runs, setup)
    routes, unused = usable_routes(runs, setup)
    if not routes:
        raise no_route(runs, unused)
    segments = find_segments(runs)
    window = common_window(segments, rpm)
    estimates, sparse = _dense(
        _estimates(runs, routes, setup, sizes), routes, runs, segments, window
    )
    index = {id(run): k for k, run in enumerate(runs)}
    owner = tuple(index[id(s.run)] for s in segments)
    flows = {name: [per_run[k].ln_flow for k in owner] for name, per_run in estimates.items()}
    states = {**_states(runs, owner), **_slopes(estimates, owner)}
    table = bin_runs(segments, flows, states, window)
    return Ready(
        runs=tuple(runs),
        segments=segments,
        run_of_segment=owner,
        table=table,
        budgets={name: _joint_budget(per_run) for name, per_run in estimates.items()},
        power_budget=(influence_of(sizes.brake_power, key="brake_power"),),
        fuel_budget=(influence_of(sizes.fuel, key="fuel"),),
        unused=(*unused, *sparse),
        window_rpm=window,
        sizes=sizes,
        findings=_unique([f for run in runs for f in run.findings]),
        assumptions=(*_unique_assumptions(runs), *_noted(estimates), *sizes.assumptions()),
    )


def no_route(runs: Sequence[Run], unused: Sequence[Unused]) -> InputError:
    """Return the error of runs that no route can judge, with what each route lacks."""
    return InputError(
        "no route to the air flow without the sensor under test",
        where=", ".join(run.name for run in runs),
        got="; ".join(f"{u.method}: {u.reason}" for u in unused),
        allowed="manifold pressure (speed density), or fuel quantity with measured lambda",
        fix="log manifold pressure and charge temperature, or fuel and a wide-band lambda",
    )


def _estimates(
    runs: Sequence[Run], routes: Sequence[Route], setup: EngineSetup, sizes: Defaults
) -> dict[str, list[Estimate]]:
    found = {maf.METHOD: [maf.indicated(run, sizes) for run in runs]}
    for route in routes:
        found[route.method] = [route.estimate(run, setup, sizes) for run in runs]
    return found


def _dense(
    estimates: dict[str, list[Estimate]],
    routes: Sequence[Route],
    runs: Sequence[Run],
    segments: Sequence[Segment],
    window_rpm: tuple[float, float],
) -> tuple[dict[str, list[Estimate]], tuple[Unused, ...]]:
    """Leave out the routes that lack samples of a segment in the window, if others have them."""
    place = {id(run): k for k, run in enumerate(runs)}
    share = {
        route.method: min(
            _valid_share(estimates[route.method][place[id(s.run)]], s, window_rpm) for s in segments
        )
        for route in routes
    }
    least = {r.method: MIN_VALID_SHARE if r.gives_way else MIN_VALID_SHARE_ALONE for r in routes}
    sparse = tuple(
        Unused(method=m, reason=f"valid in {100.0 * share[m]:.0f} % of the samples of a run only")
        for m in share
        if share[m] < least[m]
    )
    if len(sparse) == len(share):
        return estimates, ()
    left_out = {u.method for u in sparse}
    return {n: e for n, e in estimates.items() if n not in left_out}, sparse


def _valid_share(estimate: Estimate, segment: Segment, window_rpm: tuple[float, float]) -> float:
    speed = segment.run.speed_rpm
    used = segment.use & (speed >= window_rpm[0]) & (speed <= window_rpm[1])
    return float(np.mean(np.isfinite(estimate.ln_flow[used]))) if used.any() else 0.0


def _slopes(
    estimates: dict[str, list[Estimate]], owner: Sequence[int]
) -> dict[str, list[FloatArray | None]]:
    """Return how the compressor-map route follows the manifold pressure, if it is there."""
    per_run = estimates.get(compressor_map.METHOD)
    if per_run is None:
        return {}
    return {"compressor_to_pressure": [per_run[k].to_pressure for k in owner]}


def _joint_budget(estimates: Sequence[Estimate]) -> tuple[Influence, ...]:
    """Return the budget of the run that is worst known, component by component."""
    worst: dict[str, Influence] = {}
    for estimate in estimates:
        for item in estimate.budget:
            if item.key not in worst or item.total() > worst[item.key].total():
                worst[item.key] = item
    return tuple(worst.values())


def _states(runs: Sequence[Run], owner: Sequence[int]) -> dict[str, list[FloatArray | None]]:
    names = ("p_manifold_pa", "t_charge_k", "mdot_fuel_kgps", "power_w", "depression_pa", "lambda_")
    states: dict[str, list[FloatArray | None]] = {
        name: [getattr(runs[k], name) for k in owner] for name in names
    }
    states["boost_pa"] = [
        None if (p := runs[k].p_manifold_pa) is None else p - runs[k].p_ambient_pa for k in owner
    ]
    return states


def _unique(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    return tuple(dict.fromkeys(findings))


def _noted(estimates: Mapping[str, Sequence[Estimate]]) -> tuple[Assumption, ...]:
    """Return what a route takes for granted in the runs, once each."""
    return tuple(
        dict.fromkeys(
            Assumption(quantity=f"route {name}", value=note, source="the logs cannot show it")
            for name, per_run in estimates.items()
            for estimate in per_run
            for note in estimate.notes
        )
    )


def _unique_assumptions(runs: Sequence[Run]) -> tuple[Assumption, ...]:
    return tuple(dict.fromkeys(a for run in runs for a in run.assumptions))
