"""Sixty-six invented publications: 24 contradictions, 21 sound ones, 21 that cannot be proven."""

from __future__ import annotations

from dataclasses import replace

from tests.faults.audit_cases import (
    DIESEL_2,
    DIESEL_3,
    DIESEL_6,
    PETROL_3,
    PETROL_14,
    PETROL_NA,
    State,
)
from tests.faults.audit_publications import (
    SAME_DAY,
    Publication,
    change_of,
    claim,
    figures,
    honest,
    improved,
    only,
    scaled,
    weather_of,
    without,
)

UNCORRECTED = ('power_correction = "uncorrected"', *SAME_DAY)
NA_2 = State(
    2.0, 4, "spark", "naturally_aspirated", 6000, 97, 305, 1.0, 0.9, 0.29, afr=14.1, lhv_mj=42.0
)


def both(state, gain=0.02, **units):
    """Return the two rows of an engine and of the same engine with a better intake."""
    return figures(state, **units), figures(improved(state, gain), **units)


def made(state, rows, *claims, said=UNCORRECTED, engine=()):
    """Return a publication; without claims, that of its power."""
    own = claims or (claim("brake_power", change_of(rows)),)
    return Publication(
        state=state, rows=tuple(rows), claims=own, publication=tuple(said), engine=tuple(engine)
    )


def with_one(state, name, factor, row=1, gain=0.02, **units):
    """Return a publication with one false figure in the second or (row=0) the first row."""
    rows = list(both(state, gain, **units))
    rows[row] = scaled(rows[row], name, factor)
    quantity = "mass_air_flow" if name == "mass_air_flow" else "brake_power"
    return made(state, rows, claim(quantity, change_of(rows, quantity)))


def with_torque(state, factor):
    """Return a publication whose power does not follow from torque and speed."""
    rows = [dict(row) for row in both(state)]
    for s, row in zip((state, improved(state, 0.02)), rows, strict=True):
        row["brake_torque"] = f"{s.power_w / (s.speed_rpm * 0.10471976):.0f} N*m"
    rows[1] = scaled(rows[1], "brake_power", factor)
    return made(state, rows)


def with_power(state, kw, *, keep=(), said=SAME_DAY):
    """Return a publication that prints power and little else."""
    first, _ = both(state)
    kept = only(first, "engine_speed", *keep)
    rows = (kept | {"brake_power": f"{kw:.0f} kW"}, kept | {"brake_power": f"{kw * 1.05:.0f} kW"})
    return made(state, rows, said=said)


def of_two_days(state, low, high, first, second, said=('power_at = "engine"',)):
    """Return uncorrected power on two days that are printed."""
    kept = {"engine_speed": f"{state.speed_rpm:.0f} rpm"}
    rows = (kept | {"brake_power": first} | low, kept | {"brake_power": second} | high)
    return made(state, rows, said=(*said, 'power_correction = "uncorrected"'))


COLD = {"barometric_pressure": "1020 mbar", "ambient_temperature": "12 degC"}
HOT = {"barometric_pressure": "960 mbar", "ambient_temperature": "35 degC"}


def contradictions():
    """Return the contradictions by name."""
    rows_3 = both(DIESEL_3)
    same_air = [
        r | {"brake_power": p} for r, p in zip(rows_3, ("190.0 kW", "180.0 kW"), strict=True)
    ]
    factor = {
        "power_measured": "120.0 kW",
        "power_corrected": "131.0 kW",
        "correction_factor": "1.04",
    }
    plain = only(figures(NA_2), "engine_speed")
    return {
        "PS in a kW column against torque": with_torque(DIESEL_3, 1.3596),
        "hp in a kW column against torque": with_torque(DIESEL_2, 1.341),
        "power off torque by 6 %": with_torque(PETROL_3, 1.06),
        "percentage off": made(DIESEL_3, rows_3, claim("brake_power", "+9.5 %")),
        "difference off": made(PETROL_14, both(PETROL_14), claim("brake_power", "+14.0 kW")),
        "restated value off": made(
            DIESEL_6, both(DIESEL_6), claim("brake_power", "", to_value="330 kW")
        ),
        "a loss called a gain": made(DIESEL_3, same_air, claim("brake_power", "+10.0 kW")),
        "air without pressure": with_one(DIESEL_3, "mass_air_flow", 1.07),
        "air without pressure, petrol": with_one(PETROL_14, "mass_air_flow", 1.08),
        "air in kg/h beside g/s": with_one(DIESEL_2, "mass_air_flow", 3.6),
        "air in lb/min as g/s": with_one(DIESEL_6, "mass_air_flow", 1 / 7.56),
        "power without fuel": with_one(DIESEL_6, "brake_power", 1.09),
        "power without fuel, petrol": with_one(PETROL_3, "brake_power", 1.10),
        "fuel without power": with_one(DIESEL_2, "fuel_mass_flow", 1.12),
        "impossible filling": with_one(DIESEL_3, "mass_air_flow", 1.6, row=0),
        "too rich to burn": with_one(DIESEL_2, "fuel_mass_flow", 1.8),
        "lambda against air and fuel": with_one(DIESEL_3, "lambda", 1.6),
        "gauge pressure as absolute": made(
            DIESEL_3,
            [
                without(r, "boost_pressure") | {"manifold_pressure": r["boost_pressure"]}
                for r in rows_3
            ],
        ),
        "26 bar without a turbocharger": with_power(NA_2, 260),
        "330 kW at 1.05 bar": made(
            replace(PETROL_14, displacement_l=2.0, cylinders=4, speed_rpm=6000),
            [
                {"engine_speed": "6000 rpm", "boost_pressure": "1.05 bar", "brake_power": p}
                for p in ("330 kW", "345 kW")
            ],
        ),
        "weather made it": of_two_days(NA_2, HOT, COLD, "120.0 kW", "131.5 kW"),
        "weather made it, six cylinders": of_two_days(PETROL_NA, HOT, COLD, "150.0 kW", "166.0 kW"),
        "corrected is not measured times factor": made(
            NA_2,
            (plain | factor, plain | factor | {"power_measured": "124.0 kW"}),
            claim("brake_power", ""),
            said=('power_at = "engine"',),
        ),
        "a factor that no humidity gives": made(
            NA_2,
            [only(r, "engine_speed", "brake_power") for r in both(NA_2)],
            said=('power_correction = "ISO 1585"', 'correction_factor = "1.12"', *SAME_DAY),
        ),
    }


def sound():
    """Return sound publications by name: none may be contradicted."""
    out = {f"forward {k}": honest(900 + k)[0] for k in range(12)}
    for name, state, gain in (
        ("diesel, large gain", DIESEL_3, 0.05),
        ("petrol, large gain", PETROL_3, 0.05),
        ("small petrol, large gain", PETROL_14, 0.05),
        ("truck-like, large gain", DIESEL_6, 0.06),
    ):
        rows = both(state, gain)
        air = claim("mass_air_flow", change_of(rows, "mass_air_flow"))
        out[name] = made(state, rows, claim("brake_power", change_of(rows)), air)
    rows = [only(r, "engine_speed", "brake_power") for r in both(NA_2, 0.03)]
    day = tuple(f'{k} = "{v}"' for k, v in weather_of(NA_2, 20).items())
    unsaid = (
        'barometric_pressure = "970 mbar"',
        'ambient_temperature = "30 degC"',
        'correction_factor = "1.05"',
        'power_correction = "ISO 1585"',
    )
    out["factor without humidity"] = made(NA_2, rows, said=unsaid)
    out["named text and weather"] = made(NA_2, rows, said=(*day, 'power_correction = "SAE J1349"'))
    turbo = [only(r, "engine_speed", "brake_power") for r in both(DIESEL_3, 0.05)]
    out["factor without boost and fuel"] = made(
        DIESEL_3, turbo,
        said=('power_correction = "ISO 1585"', 'correction_factor = "1.03"',
              'barometric_pressure = "960 mbar"', 'ambient_temperature = "32 degC"'),
    )  # fmt: skip
    ranged = [
        r | {"brake_power": p}
        for r, p in zip(both(DIESEL_2), ("108 to 112 kW", "110,5 kW ± 2 kW"), strict=True)
    ]
    out["ranges"] = made(DIESEL_2, ranged, claim("brake_power", "+1 kW"))
    out["no difference"] = made(
        DIESEL_3, both(DIESEL_3, 0.0),
        claim("brake_power", "", within_scatter="true").replace('"true"', "true"),
    )  # fmt: skip
    return out


def open_ones():
    """Return publications that cannot be proven, by name: undetermined, with a request."""
    out = {}
    for name, state in (
        ("diesel", DIESEL_3), ("petrol", PETROL_3), ("aspirated", NA_2), ("truck", DIESEL_6),
        ("small", PETROL_14),
    ):  # fmt: skip
        rows = [only(r, "engine_speed", "brake_power") for r in both(state, 0.03)]
        out[f"power alone, no weather, {name}"] = made(state, rows, said=())
        bare = [only(r, "engine_speed", "mass_air_flow") for r in both(state, 0.06)]
        air = claim("mass_air_flow", change_of(bare, "mass_air_flow"))
        out[f"air alone, {name}"] = made(state, bare, air, said=())
        small = both(state, 0.004)
        out[f"within scatter, {name}"] = made(state, small)
    for k, (first, second) in enumerate((("150.0 kW", "155.0 kW"), ("96 kW", "98 kW"))):
        out[f"two days, {k}"] = of_two_days(NA_2, {}, {}, first, second)
    no_speed = [only(r, "brake_power") for r in both(DIESEL_2, 0.02)]
    out["power without speed"] = made(DIESEL_2, no_speed, said=())
    rounded = [
        r | {"brake_power": p}
        for r, p in zip(both(DIESEL_3, 0.02), ("200 to 215 kW", "205 to 220 kW"), strict=True)
    ]
    out["wide ranges"] = made(DIESEL_3, rounded, claim("brake_power", "+5 kW"))
    out["corrected by no known text"] = made(
        NA_2, [only(r, "engine_speed", "brake_power") for r in both(NA_2, 0.02)],
        said=('power_correction = "DIN"',),
    )  # fmt: skip
    out["own scatter is larger"] = made(
        DIESEL_2, both(DIESEL_2, 0.01), said=('run_scatter = "2 %"', *UNCORRECTED)
    )
    return out
