"""Seeded draws of everything that printed figures leave open, each with what would settle it.

Monte Carlo propagation of distributions (JCGM 101). Each unknown is drawn once and shared by all
that depend on it, so that what is common to two configurations cancels by itself. Every unknown
has a random stream of its own, seeded by its key: the answer does not depend on the order of the
checks or on which other figures are printed. The draws are stratified (one in each of N equally
likely slices), which makes the tails steady at moderate N.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtri

from airsense.arrays import FloatArray
from airsense.results import Interval

# Enough for 95 % limits to a few hundredths of their width; any seed, always the same.
DRAWS = 20_000
SEED = 20_007
LEAST_SHARE = 0.01  # smaller shares of a variance are not worth a line
TAIL_95 = (0.025, 0.975)


@dataclass(frozen=True, slots=True)
class Source:
    """Where an open question comes from: its label, and what would settle it."""

    label: str
    settle_by: str


@dataclass(frozen=True, slots=True)
class Share:
    """Part of the variance of a statistic that one source explains."""

    source: Source
    share: float


@dataclass(frozen=True, slots=True)
class _Unknown:
    source: Source
    values: FloatArray


@dataclass(slots=True)
class Draws:
    """All unknowns of one audit, drawn on first use."""

    size: int = DRAWS
    seed: int = SEED
    _known: dict[str, _Unknown] = field(default_factory=dict)

    def normal(self, key: str, source: Source) -> FloatArray:
        """Return standard normal draws of the unknown `key`, shape (size,)."""
        return self._get(key, source, ndtri)

    def uniform(self, key: str, source: Source) -> FloatArray:
        """Return draws between -1 and 1, all equally likely, shape (size,)."""
        return self._get(key, source, lambda p: 2.0 * p - 1.0)

    def exponential(self, key: str, source: Source) -> FloatArray:
        """Return exponential draws of mean 1, shape (size,)."""
        return self._get(key, source, lambda p: -np.log1p(-p))

    def _get(
        self, key: str, source: Source, quantile: Callable[[FloatArray], FloatArray]
    ) -> FloatArray:
        if key not in self._known:
            generator = np.random.default_rng([self.seed, zlib.crc32(key.encode())])
            slices = generator.permutation(self.size) + generator.random(self.size)
            probability = np.clip(slices / self.size, 1e-12, 1.0 - 1e-12)
            self._known[key] = _Unknown(source, np.asarray(quantile(probability)))
        return self._known[key].values

    def shares(self, statistic: FloatArray) -> tuple[Share, ...]:
        """Return how much of a statistic's variance each source explains, largest first.

        The squared correlation of the statistic with each unknown: exact where the statistic is
        linear in independent unknowns, which logarithms of products of figures nearly are.
        """
        spread = float(np.std(statistic))
        if spread < 1e-12:
            return ()
        centred = (statistic - np.mean(statistic)) / spread
        total: dict[Source, float] = {}
        for unknown in self._known.values():
            x = unknown.values
            r = float(np.mean(centred * (x - np.mean(x)))) / float(np.std(x))
            # Unrelated streams correlate by chance at about 1/sqrt(N): that is no share.
            if abs(r) > 4.0 / np.sqrt(self.size):
                total[unknown.source] = total.get(unknown.source, 0.0) + r * r
        total = {s: v for s, v in total.items() if v >= LEAST_SHARE}
        ranked = sorted(total.items(), key=lambda item: (-item[1], item[0].label))
        return tuple(Share(source, min(value, 1.0)) for source, value in ranked)


def interval_of(draws: FloatArray) -> Interval:
    """Return median and 95 % interval of draws."""
    low, middle, high = np.quantile(draws, [TAIL_95[0], 0.5, TAIL_95[1]])
    return Interval(float(middle), float(low), float(high))


def change_interval(ln_ratio: FloatArray) -> Interval:
    """Return the interval of a relative change from draws of the logarithm of a ratio."""
    return interval_of(np.expm1(ln_ratio))


def tail_probability(draws: FloatArray) -> float:
    """Return the smaller of the probabilities of lying below and above zero."""
    below = float(np.mean(draws < 0.0))
    above = float(np.mean(draws > 0.0))
    return min(below, above)
