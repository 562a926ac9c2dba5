"""What the comparison with the baseline believes of the causes, for the new table to heed."""

from __future__ import annotations

from collections.abc import Sequence

from airsense.errors import InputError
from airsense.estimates.run import Run
from airsense.evidence.change import build_change, conditions_of, pair_design
from airsense.evidence.hypotheses import hypotheses
from airsense.evidence.inference import infer
from airsense.evidence.priors import Cause
from airsense.jobs.pairing import make_ready
from airsense.setup.engine import EngineSetup
from airsense.transfer.cure import Belief


def beliefs(runs: Sequence[Run], n_baseline: int, setup: EngineSetup) -> tuple[Belief, ...]:
    """Return the posterior probability of each cause; none where the sweeps cannot be compared.

    For full-load sweeps, which are compared by engine speed: over a drive, the same speed is not
    the same state, and the test at the same signal tells more.
    """
    try:
        ready = make_ready(runs, setup, None)
        is_after = [k >= n_baseline for k in ready.run_of_segment]
        change = build_change(
            ready.table, ready.budgets, pair_design(is_after), controlled=ready.controlled
        )
    except InputError:
        return ()
    posterior = infer(change, hypotheses(conditions_of(ready.table, change)))
    return tuple(Belief(cause=c.value, probability=posterior.probability(c)) for c in Cause)
