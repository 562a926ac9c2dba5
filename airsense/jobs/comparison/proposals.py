"""Which measurement would settle what a comparison leaves open, with how to do it and its lines."""

from __future__ import annotations

import numpy as np

from airsense.arrays import FloatArray
from airsense.cause import Cause
from airsense.estimates import fuel_lambda, speed_density
from airsense.evidence.next_measurement import (
    CHEAP,
    DEAR,
    FREE,
    Candidate,
    NextMeasurement,
    more_pulls,
    propose,
)
from airsense.evidence.parts import Circumstances, Parts
from airsense.evidence.parts.candidates import U_DEMAND
from airsense.evidence.posterior import Posterior
from airsense.evidence.priors import LEAK_CAUSES, PRESSURE_CAUSES, SENSOR_CAUSES
from airsense.evidence.rest import RestKind

# What a gauge leaves open of the most that the intake can give (k = 1): our choice.
U_CEILING = 0.002


def _measured(what: str, configuration: str, *lines: str) -> str:
    rows = ["[[measured]]", f'what = "{what}"', f'configuration = "{configuration}"', *lines]
    return "\n".join(rows)


def _candidate(  # one argument a column of the table
    key: str, cost: str, measurement: str, reason: str, toml: str, shows: FloatArray, u: float
) -> Candidate:
    proposed = NextMeasurement(
        key=key, cost=cost, measurement=measurement, reason=reason, toml=toml, worth=0.0
    )
    return Candidate(measurement=proposed, shows=shows, u=u)


BASELINE_AGAIN = NextMeasurement(
    key="baseline_again",
    cost=FREE,
    measurement="Put the first intake back on the same day and pull once or twice more. What has "
    "changed since then was the day, not the intake.",
    reason="weather, heat or the boost controller may have given the change; this tells them from "
    "the intake",
    toml="",
    worth=float("nan"),
)


def proposals(
    posterior: Posterior, wanted: FloatArray, *, leak_open: bool, name: str = "after"
) -> tuple[NextMeasurement, ...]:
    """Return what is worth measuring, best first; more pulls where nothing single is.

    Parameters
    ----------
    posterior : Posterior
    wanted : ndarray, shape (n,)
        Draws of the quantity that is open.
    leak_open : bool
        Whether it is open that air is lost behind the sensor: then that is what is wanted.
    name : str
        The second configuration, for the lines to paste.
    """
    draws = posterior.draws
    target = _lost(posterior) if leak_open else wanted
    found = propose(_candidates(posterior, name), target, draws.weight)
    return found or (more_pulls("what is left is scatter from pull to pull"),)


def _lost(posterior: Posterior) -> FloatArray:
    return posterior.with_causes(*LEAK_CAUSES)[posterior.draws.hypothesis].astype(np.float64)


def _size(posterior: Posterior, *causes: Cause) -> FloatArray:
    """Return the first size of some causes in each draw, zero where none is at work."""
    library = posterior.reduced.library
    first = [place[0] for cause, _, place in library.effects if cause in causes]
    return np.asarray(posterior.draws.sizes[:, sorted(set(first))].sum(axis=1))


def _candidates(posterior: Posterior, name: str) -> list[Candidate]:
    return [
        *_free(posterior, name),
        _candidate(
            "charge_pipe_pressure_test",
            CHEAP,
            "Close the intake at the sensor, put the charge pipes under their full boost with "
            "workshop air and listen for leaks. Note whether they hold, or the loss in g/s.",
            "a leak that grows with boost looks like a sensor that reads too much",
            _measured("charge_pipe_pressure_test", name, 'result = "tight"', "at_boost_kpa = "),
            _lost(posterior),
            0.1,
        ),
        _candidate(
            "charge_thermometer",
            CHEAP,
            "Hold a thermometer in the charge pipe beside the sensor after the cooler, engine "
            "idling warm. Note both readings.",
            "a shifted charge temperature looks like a changed reading",
            _measured("charge_thermometer", name, "reading_c = ", "reference_c = "),
            _size(posterior, Cause.CHARGE_TEMPERATURE),
            1.0,
        ),
        _candidate(
            "recirculation",
            CHEAP,
            "Shut the recirculation valve for the test, where law and engine allow it, and pull "
            "again.",
            "recirculated gas fills the cylinders but does not pass the sensor",
            _measured("recirculation", name, 'result = "blocked"'),
            _size(posterior, Cause.RECIRCULATION),
            0.005,
        ),
        *_dear(posterior, name),
    ]


def _free(posterior: Posterior, name: str) -> list[Candidate]:
    seen = posterior.reduced.seen
    if speed_density.METHOD not in seen.cells.routes or seen.rest.count(RestKind.STILL):
        return []
    return [
        _candidate(
            "still_seconds",
            FREE,
            "Switch the ignition on and log five seconds before the engine is started, before "
            "and after the change, with a barometer reading. The pressure sensor then has to "
            "show the barometer.",
            "a pressure sensor that has drifted shows itself at once",
            _measured("manifold_pressure_at_rest", name, "reading_kpa = ", "barometer_kpa = "),
            _size(posterior, *PRESSURE_CAUSES),
            0.002,
        )
    ]


def _dear(posterior: Posterior, name: str) -> list[Candidate]:
    cells = posterior.reduced.seen.cells
    library = posterior.reduced.library
    keep = np.zeros(library.cells.shape[2])
    keep[library.columns_of(*SENSOR_CAUSES, *LEAK_CAUSES)] = 1.0
    keep[library.companions] = 1.0
    row = library.cells[0][cells.after].mean(axis=0) * keep
    surplus = posterior.draws.spread @ row
    if fuel_lambda.METHOD not in cells.routes:
        return [
            _candidate(
                "lambda_sensor",
                DEAR,
                "Fit a wide-band lambda sensor in the exhaust and log it together with the fuel "
                "quantity, before and after.",
                "fuel x lambda is a second route to the air that no intake part can touch",
                "",
                surplus,
                0.012,
            )
        ]
    return [
        _candidate(
            "fuel_by_weight",
            DEAR,
            "Weigh the fuel over a long steady hold and compare it with the logged fuel.",
            "commanded fuel is not measured fuel",
            _measured("fuel_by_weight", name, "logged_kg = ", "weighed_kg = "),
            _size(posterior, Cause.FUEL_SCALE),
            0.005,
        ),
        _candidate(
            "lambda_reference",
            DEAR,
            "Compare lambda with a second analyser on a steady hold.",
            "one lambda sensor cannot vouch for itself",
            _measured("lambda_reference", name, "reading = ", "reference = "),
            _size(posterior, Cause.LAMBDA_SCALE),
            0.01,
        ),
    ]


def by_law(parts: Parts, weight: FloatArray) -> FloatArray:
    """Return the intake's part that each draw's law of boost control lets expect, (n,)."""
    level = np.zeros(parts.intake.size)
    for k in np.unique(parts.law):
        here = parts.law == k
        level[here] = weight[here] @ parts.intake[here] / max(float(weight[here].sum()), 1e-300)
    return level


def split_proposals(
    parts: Parts, weight: FloatArray, given: Circumstances
) -> tuple[NextMeasurement, ...]:
    """Return what would tell the intake's part from that of a raised demand, best first."""
    found = []
    if given.demand_ln is None:
        found.append(
            _candidate(
                "boost_demand",
                FREE,
                "Log the boost that the controller asks for beside the boost that it gets, with "
                "both intakes, and pull again.",
                "a raised demand gives air as an intake does; where it did not move, the intake "
                "gave it",
                "",
                parts.demand,
                U_DEMAND,
            )
        )
    if len(given.laws) > 1:
        found.append(
            _candidate(
                "boost_control",
                FREE,
                "Find out what the boost control keeps constant at full load, from the workshop "
                "manual or from whoever set it up, and declare it.",
                "how much a day or an intake can give depends on it",
                "# under [engine]: absolute, gauge, ratio_ambient, ratio_inlet or open\n"
                'boost_control = ""',
                by_law(parts, weight),
                0.0,
            )
        )
    if given.depression_before_pa is None or given.depression_after_pa is None:
        found.append(
            _candidate(
                "inlet_depression",
                CHEAP,
                "Read the depression in the tube ahead of the compressor at full load, with both "
                "intakes: a hose from a tap in the tube to a pressure gauge.",
                "it bounds what a freer intake can have given",
                "[intake]\ndepression_before_kpa = \ndepression_after_kpa = ",
                parts.ceiling,
                U_CEILING,
            )
        )
    return propose(found, parts.intake, weight)
