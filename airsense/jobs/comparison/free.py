"""Which free evidence the logs hold, what it showed, and what was missing."""

from __future__ import annotations

import numpy as np

from airsense.estimates.segments import Kind
from airsense.evidence.judgement import Judgement
from airsense.evidence.rest import Rest, RestKind
from airsense.jobs.comparison.result import FreeEvidence

# A reading at rest that moved by less than this says that the pressure sensor held: 0.5 kPa.
HELD = 0.005


def free_evidence(judged: Judgement) -> tuple[FreeEvidence, ...]:
    """Return the moments in which a sensor's right reading is known."""
    seen = judged.posterior.reduced.seen
    cells, rest = seen.cells, seen.rest
    idle = int(np.unique(cells.run[cells.kind == Kind.IDLE]).size)
    part = int(np.count_nonzero(cells.part_load))
    return (
        _at_rest(rest, RestKind.STILL, "engine_still", "with the ignition on and the engine still"),
        _at_rest(rest, RestKind.IDLE, "idle_pressure", "at an unthrottled idle"),
        FreeEvidence(
            kind="idle_air",
            found=idle,
            sentence=f"idle air in {idle} logs: a factor on the reading shows there, a leak that "
            "comes with boost does not"
            if idle
            else "no idle with the routes there: log some seconds of warm idle",
        ),
        FreeEvidence(
            kind="part_load",
            found=part,
            sentence=f"{part} states at part load beside full load: a shift of pressure, a leak "
            "and a factor part there"
            if part
            else "nothing at part load beside full load",
        ),
    )


def _at_rest(rest: Rest, kind: RestKind, name: str, where: str) -> FreeEvidence:
    own = rest.kind == kind
    before, after = own & ~rest.after, own & rest.after
    if not (before.any() and after.any()):
        why = "; ".join(rest.missing) if kind is RestKind.STILL and rest.missing else ""
        text = f"no reading of the pressure sensor {where} on both sides" + (
            f": {why}" if why else ""
        )
        return FreeEvidence(kind=name, found=int(own.sum()), sentence=text)
    moved = float(rest.value[after].mean() - rest.value[before].mean())
    said = "it held" if abs(moved) < HELD else "it has drifted"
    return FreeEvidence(
        kind=name,
        found=int(own.sum()),
        sentence=f"the pressure sensor against the barometer {where}: {100.0 * moved:+.1f} % after "
        f"against before: {said}",
    )
