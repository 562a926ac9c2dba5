"""Simulation-based calibration: is a printed probability the model's own?

Run as `python -m tests.bench.calibration [--draws 4000] [--seed 1] [--workers 2]`. Truths are
drawn from the model's own prior (hypothesis, sizes, nuisance, scale factors, noise) on a fixed
design of cells and readings at rest, and inferred as data. If inference is right, the rank of the
truth among the draws of its posterior is uniform, and what has a printed probability of 0.97
comes true in 97 % of cases [1]_.

References
----------
.. [1] S. Talts, M. Betancourt, D. Simpson, A. Vehtari, A. Gelman, "Validating Bayesian Inference
   Algorithms with Simulation-Based Calibration", 2018, arXiv:1804.06788.
"""

from __future__ import annotations

import argparse
import itertools
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from scipy.special import chdtrc

from airsense.arrays import FloatArray
from airsense.evidence.budget import RouteBudget
from airsense.evidence.cells import Cells
from airsense.evidence.design import Group, Scale, nuisance
from airsense.evidence.hypotheses import Hypothesis, Library, hypotheses, library_of
from airsense.evidence.judgement import interval, over_cells
from airsense.evidence.posterior import (
    RUN_DOF,
    RUN_FACTORS,
    SET_DOF,
    SET_FACTORS,
    Posterior,
    infer,
    reduce_observations,
)
from airsense.evidence.priors import NEW_LEAK_SHARE, PriorTable
from airsense.evidence.rest import Rest
from airsense.evidence.signatures import Observed, observed
from tests.evidence_inputs import ROUTES, budget_of, cells_of, noise_of, rest_of

TABLE = PriorTable()
POSTERIOR_DRAWS = 2_000
RANK_BINS = 20
# Printed probabilities of a sign are told apart in these bins.
SIGN_EDGES = (0.90, 0.95, 0.98, 0.995, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """What is observed: cells and readings at rest whose values are still to be drawn."""

    name: str
    cells: Cells
    rest: Rest
    budget: RouteBudget


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """A draw from the prior: sizes of all cause columns, (c,), and the observations it makes."""

    hypothesis: Hypothesis
    sizes: FloatArray
    cells: Cells
    rest: Rest


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One truth inferred.

    `surplus` and `skew` are ranks in [0, 1] of the truth among the draws, ties broken by chance;
    `higher` and `lower` are the printed probabilities that the reading is, `sign` the truth's sign;
    `held` whether the printed interval of the surplus holds it, `sensor` the printed probability
    that anything is at work at the sensor or behind it, `is_sensor` the truth.
    """

    surplus: float
    skew: float
    higher: float
    lower: float
    sign: int
    held: bool
    sensor: float
    is_sensor: bool


def designs() -> tuple[Design, ...]:
    """Return two small designs: with a second route, and speed density with readings at rest."""
    both = cells_of(runs=2, size=6)
    alone = cells_of(runs=2, size=6, routes=ROUTES[:1], idle=True)
    still = rest_of(before=(0.0, 0.0), after=(0.0, 0.0))
    return (
        Design(name="two routes", cells=both, rest=rest_of(), budget=budget_of()),
        Design(name="own channels, still", cells=alone, rest=still, budget=budget_of(ROUTES[:1])),
    )


def draw_truth(design: Design, rng: np.random.Generator) -> Truth:
    """Draw hypothesis, sizes, scale factors, nuisance and noise from the model's own prior."""
    seen = observed(design.cells, design.rest)
    library = library_of(TABLE, seen)
    candidates = hypotheses(TABLE, library)
    h = candidates[rng.choice(len(candidates), p=[c.probability for c in candidates])]
    sizes = draw_sizes(h, library, rng)
    own_cells, own_rest = draw_nuisance(seen, design.budget, rng)
    residual = own_cells + library.cells @ sizes
    noise = noise_of(design.cells)
    residual = residual + noise * rng.standard_normal(noise.shape)
    value = own_rest + library.rest @ sizes
    value = value + design.rest.u_noise * rng.standard_normal(value.size)
    return Truth(
        hypothesis=h,
        sizes=sizes,
        cells=replace(design.cells, ln_route=design.cells.ln_maf - residual),
        rest=replace(design.rest, value=value),
    )


def draw_sizes(h: Hypothesis, library: Library, rng: np.random.Generator) -> FloatArray:
    """Draw the sizes of all columns under a hypothesis; a leak is likelier new than mended."""
    out = np.zeros(library.cells.shape[2])
    if h.columns.size == 0:
        return out
    own = gaussian(h.precision, rng)
    if h.sensor.one_sided:
        k = h.sensor.columns.size
        wanted = 1.0 if rng.random() < NEW_LEAK_SHARE else -1.0
        own[:k] *= wanted * np.sign(own[0])
    out[h.columns] = own
    return out


def draw_nuisance(
    seen: Observed, budget: RouteBudget, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Draw what routes, drift, runs and rest add to the observations, (n_routes, m) and (q,)."""
    set_factor = _factor(SET_FACTORS, SET_DOF, rng)
    run_factor = _factor(RUN_FACTORS, RUN_DOF, rng)
    size = {Scale.FIXED: 1.0, Scale.BETWEEN: set_factor, Scale.RUN: set_factor * run_factor}
    cells, rest = np.zeros(seen.cells.ln_route.shape), np.zeros(seen.rest.size)
    for group in nuisance(seen, budget):
        own = _group_size(group, size[group.scale], rng)
        cells = cells + group.cells @ own
        rest = rest + group.rest @ own
    return cells, rest


def _group_size(group: Group, factor: float, rng: np.random.Generator) -> FloatArray:
    return group.mean + factor * gaussian(group.precision, rng)


def _factor(grid: FloatArray, dof: float, rng: np.random.Generator) -> float:
    """Draw a scale factor: scaled inverse chi-square of its square, on the grid."""
    ln = -dof * np.log(grid) - 0.5 * dof / grid**2
    weight = np.exp(ln - ln.max())
    return float(rng.choice(grid, p=weight / weight.sum()))


def gaussian(precision: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Draw from a Gaussian around zero, (k,), of precision (k, k)."""
    lower = np.linalg.cholesky(precision)
    return np.asarray(np.linalg.solve(lower.T, rng.standard_normal(precision.shape[0])))


def judged(design: Design, rng: np.random.Generator) -> Outcome:
    """Draw a truth, infer it from its observations, and rank it."""
    truth = draw_truth(design, rng)
    reduced = reduce_observations(observed(truth.cells, truth.rest), design.budget, TABLE)
    posterior = infer(reduced, TABLE, draws=POSTERIOR_DRAWS)
    rows = over_cells(posterior, np.ones(truth.cells.size, dtype=bool))
    surplus, skew = rows.surplus[0], rows.skew[0]
    true = float(surplus @ truth.sizes)
    values, weight = posterior.draws.sizes @ surplus, posterior.draws.weight
    chosen = truth.hypothesis.sensor.causes
    return Outcome(
        surplus=_rank(posterior, surplus, truth.sizes, rng),
        skew=_rank(posterior, skew, truth.sizes, rng),
        higher=float(weight @ (values > 0.0)),
        lower=float(weight @ (values < 0.0)),
        sign=int(np.sign(true)),
        held=interval(posterior, surplus).contains(float(np.expm1(true))),
        sensor=posterior.probability(*(p.cause for p in TABLE.sensor)),
        is_sensor=bool(chosen),
    )


def _rank(
    posterior: Posterior, row: FloatArray, sizes: FloatArray, rng: np.random.Generator
) -> float:
    """Return where the truth stands among the weighted draws; within a spike, by chance."""
    values, weight, true = posterior.draws.sizes @ row, posterior.draws.weight, float(row @ sizes)
    below = float(weight @ (values < true))
    same = float(weight @ (values == true))
    return below + same * rng.random()


def study(design: Design, draws: int, seed: int) -> tuple[Outcome, ...]:
    """Return so many truths of one design, inferred."""
    rng = np.random.default_rng(seed)
    return tuple(judged(design, rng) for _ in range(draws))


def uniform_probability(rank: Sequence[float], bins: int = RANK_BINS) -> float:
    """Return the probability of so uneven a histogram if ranks are uniform (chi-square)."""
    count = np.histogram(rank, np.linspace(0.0, 1.0, bins + 1))[0]
    expected = len(rank) / bins
    return float(chdtrc(bins - 1, np.sum((count - expected) ** 2) / expected))


@dataclass(frozen=True, slots=True, kw_only=True)
class SignBin:
    """Claims of one sign whose printed probability lies in a bin: printed mean, share true."""

    low: float
    high: float
    count: int
    printed: float
    true: float

    @property
    def u(self) -> float:
        """Standard uncertainty of the share by the count of claims."""
        p = min(max(self.printed, 1e-9), 1.0)
        return float(np.sqrt(p * (1.0 - p) / max(self.count, 1)))


def sign_bins(rows: Sequence[Outcome]) -> tuple[SignBin, ...]:
    """Return how often a claimed sign is true, by its printed probability."""
    printed = np.array([p for r in rows for p in (r.higher, r.lower)])
    true = np.array([r.sign == sign for r in rows for sign in (1, -1)])
    out = []
    for low, high in itertools.pairwise(SIGN_EDGES):
        use = (printed >= low) & ((printed < high) | (high == 1.0))
        n = int(np.count_nonzero(use))
        out.append(
            SignBin(
                low=low,
                high=high,
                count=n,
                printed=float(printed[use].mean()) if n else float("nan"),
                true=float(true[use].mean()) if n else float("nan"),
            )
        )
    return tuple(out)


def table(name: str, rows: Sequence[Outcome]) -> str:
    """Return what is printed of one design."""
    held = np.mean([r.held for r in rows])
    sensor = np.mean([r.sensor for r in rows]), np.mean([r.is_sensor for r in rows])
    lines = [
        f"\n{name}: {len(rows)} draws",
        f"  p of a uniform rank: surplus {uniform_probability([r.surplus for r in rows]):.3f}, "
        f"skew {uniform_probability([r.skew for r in rows]):.3f}",
        f"  printed interval of the surplus holds {held:.3f}",
        f"  a cause at the sensor or a leak: printed {sensor[0]:.3f}, true {sensor[1]:.3f}",
    ]
    lines += [
        f"  P(sign) {b.low:.3f} to {b.high:.3f}: {b.count:5d} printed {b.printed:.3f} "
        f"true {b.true:.3f} (u {b.u:.3f})"
        for b in sign_bins(rows)
    ]
    return "\n".join(lines)


def _work(task: tuple[int, int, int]) -> tuple[Outcome, ...]:
    number, draws, seed = task
    return study(designs()[number], draws, seed)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=4000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    each = max(given.draws // 20, 1)
    with ProcessPoolExecutor(given.workers) as pool:
        for number, design in enumerate(designs()):
            tasks = [(number, each, given.seed + 1000 * number + k) for k in range(20)]
            rows = [row for found in pool.map(_work, tasks) for row in found]
            print(table(design.name, rows), flush=True)


if __name__ == "__main__":
    main()
