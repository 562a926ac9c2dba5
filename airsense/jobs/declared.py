"""What the user declared as evidence: measurements that were made, and priors of his own."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from airsense.cause import Cause
from airsense.evidence.cells import Cells
from airsense.evidence.priors import Prior, PriorTable
from airsense.evidence.rest import Rest, RestKind
from airsense.physics.duct import orifice_flow_relative
from airsense.setup.measured import (
    ChargePipePressureTest,
    ChargeThermometer,
    FuelByWeight,
    IntakeSmokeTest,
    LambdaReference,
    ManifoldPressureAtRest,
    Measured,
    Recirculation,
)
from airsense.setup.priors import DeclaredPrior

# Likelihoods where no data sheet is given: our choice.
U_TIGHT_KGPS = 0.5e-3
U_LOSS_SHARE, U_LOSS_KGPS = 0.10, 0.3e-3
U_THERMOMETER_K, U_WEIGHT, U_LAMBDA = 1.0, 0.005, 0.01
U_SMOKE_TIGHT = 0.002
# Smoke that comes out somewhere makes a leak there so much likelier.
SMOKE_ODDS = 30.0
FIRST_NUMBER = 1_000_000


def prior_table(
    declared: Mapping[Cause, DeclaredPrior], measured: Sequence[Measured]
) -> PriorTable:
    """Return the priors in force: the table with the user's own, and with what he ruled out."""
    table = PriorTable()
    changed = {}
    for cause, own in declared.items():
        changed[cause] = _declared(table.of(cause), own)
    table = table.changed(changed)
    if any(isinstance(m, Recirculation) for m in measured):
        table = table.without([Cause.RECIRCULATION])
    smoked = [m.result for m in measured if isinstance(m, IntakeSmokeTest)]
    if "leak" in smoked:
        table = table.with_odds(SMOKE_ODDS, [Cause.LEAK_BEFORE_COMPRESSOR])
    return table


def _declared(prior: Prior, own: DeclaredPrior) -> Prior:
    size = prior.size if own.size is None else own.size
    return replace(
        prior,
        probability=prior.probability if own.probability is None else own.probability,
        size=size,
        heavy_share=prior.heavy_share if own.size is None else 0.0,
        source="declared",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    kind: RestKind
    value: float
    u: float
    pressure_pa: float = 1.0e5


def measured_rows(
    measured: Sequence[Measured], cells: Cells, configurations: Mapping[str, bool]
) -> Rest:
    """Return the measurements that were made as readings with a known right value.

    Parameters
    ----------
    measured : sequence of Measured
    cells : Cells
        Of the two configurations, for the flow and boost that a leak is a share of.
    configurations : mapping of str to bool
        Names of the two configurations, and whether each is the second one.
    """
    found = [
        (configurations[m.configuration], row)
        for m in measured
        if m.configuration in configurations and (row := _row(m, cells)) is not None
    ]
    return Rest(
        run=FIRST_NUMBER + np.arange(len(found), dtype=np.int64),
        after=np.array([after for after, _ in found], dtype=bool),
        kind=np.array([row.kind for _, row in found], dtype=np.int64),
        value=np.array([row.value for _, row in found], dtype=np.float64),
        pressure_pa=np.array([row.pressure_pa for _, row in found], dtype=np.float64),
        u_noise=np.array([row.u for _, row in found], dtype=np.float64),
    )


def _row(made: Measured, cells: Cells) -> _Row | None:
    if isinstance(made, ChargePipePressureTest):
        return _pipe_test(made, cells)
    return _READ[type(made)](made) if type(made) in _READ else None


def _at_rest(made: ManifoldPressureAtRest) -> _Row:
    # Its doubt is that of any reading with the engine still.
    return _Row(
        kind=RestKind.STILL,
        value=float(np.log(made.reading_kpa / made.barometer_kpa)),
        u=2e-4,
        pressure_pa=1e3 * made.reading_kpa,
    )


def _thermometer(made: ChargeThermometer) -> _Row:
    apart = made.reading_c - made.reference_c
    return _Row(kind=RestKind.THERMOMETER, value=apart, u=U_THERMOMETER_K)


def _fuel(made: FuelByWeight) -> _Row:
    ln = float(np.log(made.logged_kg / made.weighed_kg))
    return _Row(kind=RestKind.FUEL_WEIGHT, value=ln, u=U_WEIGHT)


def _lambda(made: LambdaReference) -> _Row:
    ln = float(np.log(made.reading / made.reference))
    return _Row(kind=RestKind.LAMBDA_REFERENCE, value=ln, u=U_LAMBDA)


def _smoke(made: IntakeSmokeTest) -> _Row | None:
    tight = _Row(kind=RestKind.SMOKE_TEST, value=0.0, u=U_SMOKE_TIGHT)
    return tight if made.result == "tight" else None


_READ: dict[type, Callable[..., _Row | None]] = {
    ManifoldPressureAtRest: _at_rest,
    ChargeThermometer: _thermometer,
    FuelByWeight: _fuel,
    LambdaReference: _lambda,
    IntakeSmokeTest: _smoke,
}


def _pipe_test(made: ChargePipePressureTest, cells: Cells) -> _Row | None:
    """Return the loss as a share of the flow at full boost; None without boost in the logs."""
    if cells.size == 0 or float(np.max(cells.boost_pa)) <= 0.0:
        return None
    full = cells.boost_pa >= 0.9 * float(np.max(cells.boost_pa))
    flow = float(np.mean(np.exp(cells.ln_maf[full])))
    if made.loss_gps is None:
        return _Row(kind=RestKind.PIPE_TEST, value=0.0, u=U_TIGHT_KGPS / flow)
    assert made.at_boost_kpa is not None
    ambient = float(np.mean(cells.p_ambient_pa))
    tested, driven = (
        float(orifice_flow_relative(ambient + boost, ambient))
        for boost in (1e3 * made.at_boost_kpa, float(np.mean(cells.boost_pa[full])))
    )
    loss = 1e-3 * made.loss_gps
    u = float(np.hypot(U_LOSS_SHARE * loss, U_LOSS_KGPS))
    return _Row(
        kind=RestKind.PIPE_TEST, value=loss * driven / tested / flow, u=u * driven / tested / flow
    )
