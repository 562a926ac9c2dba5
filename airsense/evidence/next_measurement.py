"""The one extra measurement that would settle most: largest expected drop in entropy.

A candidate z is normal under each hypothesis, with the posterior mean and spread of what it
would show. The expected drop of the entropy over the causes is the mutual information

    I = H(z) - sum_h w_h H(z | h)                                            (1)

worked out on a grid, since z is a scalar.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airsense.estimates import fuel_lambda, speed_density
from airsense.evidence.inference import Change, Fit, Posterior
from airsense.evidence.priors import Cause

FloatArray = NDArray[np.float64]

GRID = 801
# Below this many nats no single measurement says more about the causes than repeats would.
WORTH_NATS = 0.02
IN_BOTH = ", in both configurations"


@dataclass(frozen=True, slots=True, kw_only=True)
class NextMeasurement:
    """What to measure next, why, and how much it is expected to settle."""

    measurement: str
    reason: str
    expected_entropy_drop_nats: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A measurement: what it shows under a fit (mean, standard deviation), and its own noise."""

    measurement: str
    reason: str
    shows: Callable[[Fit], tuple[float, float]]
    u: float


def _size_of(cause: Cause) -> Callable[[Fit], tuple[float, float]]:
    def shows(fit: Fit) -> tuple[float, float]:
        if cause not in fit.hypothesis.causes or cause is Cause.NONE:
            return 0.0, 0.0
        index = fit.first_column(cause)
        return float(fit.sizes[index]), float(fit.u_sizes[index])

    return shows


def _true(fit: Fit) -> tuple[float, float]:
    return fit.true, fit.u_true


def _skew(fit: Fit) -> tuple[float, float]:
    return fit.skew, fit.u_skew


_CHECKS = (
    Candidate(
        measurement="key-on reading of the manifold-pressure sensor against a barometer, engine "
        "still" + IN_BOTH,
        reason="a drifted pressure sensor would show at once",
        shows=_size_of(Cause.MANIFOLD_PRESSURE),
        u=0.005,
    ),
    Candidate(
        measurement="a second thermometer in the charge pipe after the cooler" + IN_BOTH,
        reason="it would tell a shifted charge temperature from a changed sensor reading",
        shows=_size_of(Cause.CHARGE_TEMPERATURE),
        u=0.006,
    ),
    Candidate(
        measurement="a pressure test of the charge pipes from compressor to manifold",
        reason="a leak that grows with boost looks like an over-reading sensor",
        shows=_size_of(Cause.LEAK_AFTER_COMPRESSOR),
        u=0.01,
    ),
    Candidate(
        measurement="a smoke test between the air-flow sensor and the compressor",
        reason="unmetered air drawn in there looks like an under-reading sensor",
        shows=_size_of(Cause.LEAK_BEFORE_COMPRESSOR),
        u=0.01,
    ),
    Candidate(
        measurement="the fuel by weight or a calibrated flow meter over a long steady point"
        + IN_BOTH,
        reason="commanded fuel is not measured fuel",
        shows=_size_of(Cause.FUEL_SCALE),
        u=0.007,
    ),
    Candidate(
        measurement="lambda by a second analyser" + IN_BOTH,
        reason="one lambda sensor cannot vouch for itself",
        shows=_size_of(Cause.LAMBDA_SCALE),
        u=0.01,
    ),
    Candidate(
        measurement="the sweeps again with the recirculation valve blocked or its position logged",
        reason="recirculated gas fills the cylinders but does not pass the sensor",
        shows=_size_of(Cause.RECIRCULATION),
        u=0.005,
    ),
)

_BORE = Candidate(
    measurement="the bore of both tubes at the sensor, to 0.1 mm",
    reason="the area ratio alone predicts most of a sensor's change of scale",
    shows=_skew,
    u=0.02,
)
_LAMBDA = Candidate(
    measurement="a wide-band lambda sensor in the exhaust, logged together with fuel quantity",
    reason="fuel x lambda is a second route to the true air flow that no intake part can touch",
    shows=_true,
    u=0.010,
)
_PRESSURE = Candidate(
    measurement="manifold pressure and the temperature after the charge cooler",
    reason="speed density is a second route to the true air flow",
    shows=_true,
    u=0.008,
)


def mutual_information(posterior: Posterior, candidate: Candidate) -> float:
    """Return the expected drop of entropy over the causes. [nat]"""
    rows = [candidate.shows(fit) for fit in posterior.fits]
    mean = np.array([m for m, _ in rows])
    sd = np.hypot(np.array([s for _, s in rows]), candidate.u)
    grid = np.linspace(float(np.min(mean - 5.0 * sd)), float(np.max(mean + 5.0 * sd)), GRID)
    density = np.exp(-0.5 * ((grid - mean[:, None]) / sd[:, None]) ** 2)
    density /= sd[:, None] * np.sqrt(2.0 * np.pi)
    mixed = posterior.weights @ density
    with np.errstate(divide="ignore", invalid="ignore"):
        h_mixed = -np.trapezoid(np.where(mixed > 0.0, mixed * np.log(mixed), 0.0), grid)
    h_each = 0.5 * np.log(2.0 * np.pi * np.e * sd**2)
    return max(float(h_mixed - posterior.weights @ h_each), 0.0)


def candidates_for(change: Change, *, one_configuration: bool) -> tuple[Candidate, ...]:
    """Return the measurements that these data lack."""
    extra = [] if one_configuration else [_BORE]
    if fuel_lambda.METHOD not in change.routes:
        extra.append(_LAMBDA)
    if speed_density.METHOD not in change.routes:
        extra.append(_PRESSURE)
    checks: tuple[Candidate, ...] = _CHECKS
    if one_configuration:
        checks = tuple(replace(c, measurement=c.measurement.replace(IN_BOTH, "")) for c in _CHECKS)
    return (*extra, *checks)


def propose(
    posterior: Posterior, change: Change, *, one_configuration: bool = False
) -> NextMeasurement:
    """Return the measurement that is expected to settle most, or more repeats if none would."""
    scored = [
        (mutual_information(posterior, c), c)
        for c in candidates_for(change, one_configuration=one_configuration)
    ]
    drop, best = max(scored, key=lambda pair: pair[0])
    if drop >= WORTH_NATS:
        return NextMeasurement(
            measurement=best.measurement, reason=best.reason, expected_entropy_drop_nats=drop
        )
    repeats = (
        "more repeats" if one_configuration else "more repeats, alternating the configurations"
    )
    largest = posterior.budget[0]
    return NextMeasurement(
        measurement=f"a better hold on {largest.label}, then {repeats}"
        if largest.shared
        else repeats,
        reason=f"the causes are told apart; the largest part of the interval is {largest.label}",
        expected_entropy_drop_nats=drop,
    )
