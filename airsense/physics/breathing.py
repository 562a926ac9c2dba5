"""Speed density: what the cylinders draw from the charge in front of the valves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from numpy.typing import ArrayLike

from airsense.physics.arguments import FloatArray, between, floats, not_negative, positive

# SAE J1979 defines absolute load against this mass per litre: dry air at 25 C and 101.325 kPa.
ABSOLUTE_LOAD_AIR_KGPM3 = 1.184


@dataclass(frozen=True, slots=True, kw_only=True)
class VePrior:
    """What is known of the volumetric efficiency, referred to the manifold, without data."""

    value: float
    u: float
    source: str


VE_PRIOR: Mapping[tuple[str, str], VePrior] = MappingProxyType(
    {
        ("compression", "turbocharged"): VePrior(
            value=0.92, u=0.05, source="two published mean-value diesel models span 0.83 to 0.97"
        ),
        ("compression", "naturally_aspirated"): VePrior(
            value=0.88, u=0.05, source="from memory: handbook range 0.80 to 0.95"
        ),
        ("spark", "turbocharged"): VePrior(
            value=0.92, u=0.06, source="from memory: handbook range 0.85 to 1.0, four valves"
        ),
        ("spark", "naturally_aspirated"): VePrior(
            value=0.90, u=0.07, source="from memory: handbook range 0.80 to 1.05, tuned runners"
        ),
    }
)


def ideal_charge_flow_kgps(
    p_manifold_pa: ArrayLike,
    t_charge_k: ArrayLike,
    speed_rpm: ArrayLike,
    *,
    displacement_m3: float,
    cycles_per_rev: float,
    r_jpkgk: ArrayLike,
    z: ArrayLike = 1.0,
) -> FloatArray:
    """Return the charge flow of an engine that fills its swept volume at manifold state."""
    p, t = positive(p_manifold_pa, "p_manifold_pa"), positive(t_charge_k, "t_charge_k")
    r, factor = positive(r_jpkgk, "r_jpkgk"), positive(z, "z")
    cycles_ps = strokes_per_second(speed_rpm, cylinders=1, cycles_per_rev=cycles_per_rev)
    return p * positive(displacement_m3, "displacement_m3") * cycles_ps / (factor * r * t)


def strokes_per_second(
    speed_rpm: ArrayLike, *, cylinders: float, cycles_per_rev: float
) -> FloatArray:
    """Return the number of intake strokes of all cylinders per second."""
    n = not_negative(speed_rpm, "speed_rpm")
    rate = positive(cylinders, "cylinders") * positive(cycles_per_rev, "cycles_per_rev")
    return n * rate / 60.0


def volumetric_efficiency(
    mdot_kgps: ArrayLike,
    p_manifold_pa: ArrayLike,
    t_charge_k: ArrayLike,
    speed_rpm: ArrayLike,
    *,
    displacement_m3: float,
    cycles_per_rev: float,
    r_jpkgk: ArrayLike,
    z: ArrayLike = 1.0,
) -> FloatArray:
    """Return the volumetric efficiency referred to the manifold state."""
    ideal = ideal_charge_flow_kgps(
        p_manifold_pa,
        t_charge_k,
        positive(speed_rpm, "speed_rpm"),
        displacement_m3=displacement_m3,
        cycles_per_rev=cycles_per_rev,
        r_jpkgk=r_jpkgk,
        z=z,
    )
    return floats(mdot_kgps) / ideal


def fresh_air_fraction(egr_rate: ArrayLike) -> FloatArray:
    """Return the fraction of fresh air in the charge at a rate of exhaust gas recirculation."""
    return 1.0 - between(egr_rate, 0.0, 1.0, name="egr_rate")


def filling_flow_kgps(
    dp_dt_papersec: ArrayLike, *, volume_m3: float, t_charge_k: ArrayLike, r_jpkgk: ArrayLike
) -> FloatArray:
    """Return the flow that the charge volume stores while its pressure rises."""
    v, t = not_negative(volume_m3, "volume_m3"), positive(t_charge_k, "t_charge_k")
    return v * floats(dp_dt_papersec) / (positive(r_jpkgk, "r_jpkgk") * t)


def filling_time_constant_s(
    speed_rpm: ArrayLike,
    *,
    volume_m3: float,
    displacement_m3: float,
    cycles_per_rev: float,
    ve_frac: ArrayLike,
) -> FloatArray:
    """Return the time constant with which the charge volume empties through the engine."""
    drawn = positive(displacement_m3, "displacement_m3") * strokes_per_second(
        positive(speed_rpm, "speed_rpm"), cylinders=1, cycles_per_rev=cycles_per_rev
    )
    return not_negative(volume_m3, "volume_m3") / (positive(ve_frac, "ve_frac") * drawn)


def air_per_stroke_kg(
    mdot_kgps: ArrayLike, speed_rpm: ArrayLike, cylinders: float, cycles_per_rev: float
) -> FloatArray:
    """Return the air mass per intake stroke of one cylinder."""
    return floats(mdot_kgps) / strokes_per_second(
        positive(speed_rpm, "speed_rpm"), cylinders=cylinders, cycles_per_rev=cycles_per_rev
    )


def flow_from_stroke_kgps(
    mass_per_stroke_kg: ArrayLike, speed_rpm: ArrayLike, cylinders: float, cycles_per_rev: float
) -> FloatArray:
    """Return the flow that a mass per stroke of one cylinder amounts to."""
    return floats(mass_per_stroke_kg) * strokes_per_second(
        speed_rpm, cylinders=cylinders, cycles_per_rev=cycles_per_rev
    )


def absolute_load_frac(
    mdot_kgps: ArrayLike, speed_rpm: ArrayLike, *, displacement_m3: float, cycles_per_rev: float
) -> FloatArray:
    """Return the absolute load value as SAE J1979 defines it."""
    mass = air_per_stroke_kg(mdot_kgps, speed_rpm, 1, cycles_per_rev)
    return mass / (ABSOLUTE_LOAD_AIR_KGPM3 * positive(displacement_m3, "displacement_m3"))
