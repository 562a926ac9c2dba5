"""Speed density: the air that the cylinders swept at manifold state."""

from __future__ import annotations

import numpy as np

from airsense.arrays import BoolArray, FloatArray
from airsense.estimates.defaults import Defaults, Size
from airsense.estimates.driven import Driven, everywhere
from airsense.estimates.estimate import Estimate, Influence, influence_of, largest_first
from airsense.estimates.humidity import OF_DENSITY, humidity_influence
from airsense.estimates.pressures import U_ASSUMED_BAROMETER_PA, U_ASSUMED_BAROMETER_RUN_PA
from airsense.estimates.run import Run
from airsense.estimates.segments import Kind
from airsense.physics.breathing import VE_PRIOR, fresh_air_fraction, ideal_charge_flow_kgps
from airsense.physics.real_gas import compressibility_charge_air
from airsense.setup.engine import EngineSetup
from airsense.setup.ve_table import VeTable

METHOD = "speed_density"
# The table behind full scale of a manifold-pressure sensor: sensors come in a few ranges.
SENSOR_RANGES_PA = (1.2e5, 2.55e5, 3.0e5, 4.0e5, 5.0e5, 7.0e5, 1.2e6)


def missing_for_speed_density(run: Run) -> str:
    """Return what the route lacks, or an empty text."""
    if run.p_manifold_pa is None:
        return "no manifold pressure was logged"
    if run.t_charge_k is None:
        return "no charge temperature, and no pressure to estimate it from"
    return ""


def holds(driven: Driven) -> BoolArray:
    """Return where no recirculated gas fills the cylinders unseen, (n,)."""
    shut, kind = driven.shut, driven.kind
    if shut is None:
        return everywhere(driven)
    # Idle is a state of its own; with a valve that opens under load it is open there too.
    idle = (kind == Kind.IDLE) & (not shut.found)
    return np.asarray(driven.pulled | idle | (shut.mask & shut.matchable & (kind != Kind.OVERRUN)))


def speed_density(
    run: Run,
    setup: EngineSetup,
    sizes: Defaults,
    *,
    ve_frac: FloatArray | float | None = None,
    u_ve_frac: float | None = None,
) -> Estimate:
    """Estimate the fresh air flow at the sensor from manifold state and engine speed.

    ``m = VE p V_d n i / (60 R T Z) (1 - x_egr) + V/(R T) dp/dt`` with i working cycles a
    revolution [1]_.

    Parameters
    ----------
    run : Run
        Must have manifold pressure and charge temperature.
    setup : EngineSetup
        Displacement and strokes.
    sizes : Defaults
        Standard uncertainties in force.
    ve_frac : float or ndarray, shape (n,), optional
        Volumetric efficiency on the run's grid; the declared one, else the prior.
    u_ve_frac : float, optional
        Its absolute standard uncertainty as a fraction; the declared size, else the prior's.

    References
    ----------
    .. [1] J. B. Heywood, Internal Combustion Engine Fundamentals (1988), eq. 2.27 and ch. 7.
    """
    assert run.p_manifold_pa is not None
    assert run.t_charge_k is not None
    assert run.air is not None
    engine = setup.engine
    ve, u_ve = _volumetric_efficiency(run, setup, sizes, ve_frac, u_ve_frac)
    swept = ideal_charge_flow_kgps(
        run.p_manifold_pa,
        run.t_charge_k,
        run.speed_rpm,
        displacement_m3=engine.displacement_m3,
        cycles_per_rev=engine.cycles_per_rev,
        r_jpkgk=run.air.r_jpkgk,
        z=compressibility_charge_air(run.p_manifold_pa, run.t_charge_k),
    )
    fresh = 1.0 if run.egr_rate is None else fresh_air_fraction(run.egr_rate)
    return Estimate(
        method=METHOD,
        mdot_kgps=ve * swept * fresh + run.filling_kgps,
        budget=largest_first(_budget(run, sizes, u_ve)),
    )


def _volumetric_efficiency(
    run: Run,
    setup: EngineSetup,
    sizes: Defaults,
    ve_frac: FloatArray | float | None,
    u_ve_frac: float | None,
) -> tuple[FloatArray | float, float]:
    size = sizes.volumetric_efficiency.absolute
    if ve_frac is not None:
        return ve_frac, size if u_ve_frac is None else u_ve_frac
    declared = setup.engine.volumetric_efficiency
    if isinstance(declared, VeTable):
        assert run.p_manifold_pa is not None
        return declared.at(run.speed_rpm, run.p_manifold_pa), size
    if isinstance(declared, float):
        return declared, size
    prior = VE_PRIOR[setup.engine.ignition.value, setup.engine.induction.value]
    return prior.value, prior.u / prior.value


def _budget(run: Run, sizes: Defaults, u_ve_frac: float) -> list[Influence]:
    assert run.t_charge_k is not None
    assert run.p_manifold_pa is not None
    assert run.air is not None
    t_mean = float(np.nanmedian(run.t_charge_k))
    p_mean = float(np.nanmedian(run.p_manifold_pa))
    ve = sizes.volumetric_efficiency
    budget = [
        _pressure(sizes.manifold_pressure, run.p_manifold_pa),
        _temperature(sizes.charge_temperature, run, t_mean),
        influence_of(sizes.engine_speed, key="engine_speed"),
        Influence(
            key="volumetric_efficiency", label=ve.label, absolute=u_ve_frac, run=0.0, between=ve.run
        ),
        humidity_influence(run.air, OF_DENSITY),
    ]
    if run.from_gauge and run.p_ambient_assumed:
        budget.append(
            Influence(
                key="barometer",
                label="barometric pressure, assumed",
                absolute=U_ASSUMED_BAROMETER_PA / p_mean,
                run=U_ASSUMED_BAROMETER_RUN_PA / p_mean,
                between=U_ASSUMED_BAROMETER_RUN_PA / p_mean,
            )
        )
    return budget


def _pressure(size: Size, p_manifold_pa: FloatArray) -> Influence:
    """Turn the full-scale part of the pressure's uncertainty into a fraction of reading."""
    high = float(np.nanquantile(p_manifold_pa, 0.98))
    full_scale = next((r for r in SENSOR_RANGES_PA if r >= high), high)
    relative = influence_of(size, key="manifold_pressure")
    return Influence(
        key=relative.key,
        label=relative.label,
        absolute=size.absolute * full_scale / high,
        run=relative.run,
        between=relative.between,
    )


def _temperature(size: Size, run: Run, t_mean_k: float) -> Influence:
    relative = influence_of(size, key="charge_temperature", sensitivity=-1.0, scale=t_mean_k)
    if run.u_t_charge_k is None:
        return relative
    return Influence(
        key=relative.key,
        label=relative.label,
        absolute=max(relative.absolute, run.u_t_charge_k / t_mean_k),
        run=relative.run,
        between=relative.between,
        sensitivity=-1.0,
    )
