"""Does a measurement that was made contradict the logs?"""

from __future__ import annotations

import numpy as np

from airsense.evidence.judgement import Judgement, judge
from airsense.evidence.rest import Rest
from airsense.jobs.comparison.given import PairInput
from airsense.jobs.comparison.pair import Weighed
from airsense.jobs.declared import measured_rows
from airsense.results import Finding, Severity

# Where logs and measurement lie further apart than this many standard uncertainties, one is wrong.
APART = 3.0


def contradicted(given: PairInput, weighed: Weighed) -> tuple[Finding, ...]:
    """Return the measurements that the logs contradict, judged without them.

    Only those of the second configuration say something of a change by themselves.
    """
    if not given.measured or weighed.judged is None:
        return ()
    cells = weighed.judged.posterior.reduced.seen.cells
    found = []
    for made in given.measured:
        row = measured_rows([made], cells, given.configurations)
        if row.size and row.after[0] and abs(_distance(given, weighed.judged, row)) > APART:
            found.append(
                Finding(
                    code="measurement_contradicted",
                    severity=Severity.WARNING,
                    message=f"the logs contradict the measurement {made.what} of "
                    f"{made.configuration}: one of them is wrong",
                    fix="measure again, and look at the logs of that configuration",
                )
            )
    return tuple(found)


def _distance(given: PairInput, judged: Judgement, row: Rest) -> float:
    """Return how far a measurement lies from what the logs alone expect of it."""
    seen = judged.posterior.reduced.seen
    own = given.seen.rest.of_runs(given.numbers, given.is_after)
    alone = judge(seen.cells, own.joined(row), given.seen.budget, given.table).posterior
    reading = alone.reduced.library.rest[-1]
    without = judge(seen.cells, own, given.seen.budget, given.table).posterior
    draws = without.draws
    expected = draws.sizes @ reading
    mean = float(draws.weight @ expected)
    spread = float(np.sqrt(draws.weight @ (expected - mean) ** 2))
    level = float(np.hypot(float(row.u_noise[0]), _level(row)))
    return (float(row.value[0]) - mean) / float(np.hypot(spread, level))


def _level(row: Rest) -> float:
    """Return what the level of a reading adds where the first configuration has none."""
    from airsense.evidence.rest import RestKind

    level, between, run = RestKind(int(row.kind[0])).sizes
    return float(np.sqrt(level**2 + between**2 + run**2))
