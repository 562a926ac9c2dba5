"""Correction of engine power to reference weather, by each text and variant in use.

Each text carries power measured in the day's air to its own reference air. The texts differ in
reference, exponents and validity, so a corrected power means nothing until its text is named.

References
----------
.. [1] UN Regulation 85, annex 5, 5.4 (spark and compression ignition).
.. [2] ISO 1585:1992, Road vehicles: engine test code, net power. Exponents from memory.
.. [3] SAE J1349 (Jun 90), Engine power test code. Spark-ignition form as quoted in public;
       compression-ignition exponents from memory, limits of fm as quoted in a diesel manual.
.. [4] SAE J607, the older "STD" code: 60 degF, 29.92 inHg dry; as explained in public.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from airsense.errors import InputError
from airsense.physics.arguments import positive

# Reference air of the texts: 99 kPa dry and 298 K; J607 has 29.92 inHg and 519.67 degR.
P_REFERENCE_DRY_PA = 99_000.0
T_REFERENCE_K = 298.0
P_J607_PA = 29.92 * 3386.389
T_J607_K = 519.67 / 1.8

# mg of fuel per litre of swept volume and working cycle, for speed in 1/min.
_CYCLES_FOUR_STROKE = 120_000.0
_CYCLES_TWO_STROKE = 60_000.0


class CorrectionText(Enum):
    """A text and its variant, as it must be named beside a corrected power."""

    UN_R85_SI = "UN Regulation 85, spark ignition"
    UN_R85_CI_NA = "UN Regulation 85, compression ignition, naturally aspirated"
    UN_R85_CI_TURBO = "UN Regulation 85, compression ignition, turbocharged"
    ISO_1585_SI = "ISO 1585:1992, spark ignition"
    ISO_1585_CI_NA = "ISO 1585:1992, compression ignition, naturally aspirated"
    ISO_1585_CI_TURBO = "ISO 1585:1992, compression ignition, turbocharged"
    SAE_J1349_SI = "SAE J1349 (Jun 90), spark ignition"
    SAE_J1349_CI_NA = "SAE J1349 (Jun 90), compression ignition, naturally aspirated"
    SAE_J1349_CI_AIR_COOLED = (
        "SAE J1349 (Jun 90), compression ignition, turbocharged, no or air-cooled charge cooler"
    )
    SAE_J1349_CI_WATER_COOLED = (
        "SAE J1349 (Jun 90), compression ignition, turbocharged, water-cooled charge cooler"
    )
    SAE_J607_STD = "SAE J607 (older STD)"


@dataclass(frozen=True, slots=True)
class Window:
    """Range inside which a text allows its correction."""

    factor_low: float
    factor_high: float
    t_low_k: float
    t_high_k: float
    p_dry_low_pa: float
    p_dry_high_pa: float

    def holds(self, factor: float, p_dry_pa: float, t_k: float) -> bool:
        """Whether the factor and the weather lie inside."""
        return (
            self.factor_low <= factor <= self.factor_high
            and self.t_low_k <= t_k <= self.t_high_k
            and self.p_dry_low_pa <= p_dry_pa <= self.p_dry_high_pa
        )


# Factors: [1] and a diesel manual for 0.9 to 1.1; the rest from memory. J607 sets no limit.
_SPARK_WINDOW = Window(0.93, 1.07, 288.0, 308.0, 80e3, 110e3)
_COMPRESSION_WINDOW = Window(0.90, 1.10, 283.0, 313.0, 80e3, 110e3)
_J1349_SPARK_WINDOW = Window(0.93, 1.07, 288.0, 308.0, 90e3, 105e3)
_J1349_COMPRESSION_WINDOW = Window(0.90, 1.10, 288.0, 313.0, 90e3, 105e3)
_NO_WINDOW = Window(0.0, math.inf, 0.0, math.inf, 0.0, math.inf)


@dataclass(frozen=True, slots=True)
class _Exponents:
    """Atmospheric factor fa = (99 kPa / p)^p (T / 298 K)^t and the limits of the engine factor."""

    p: float
    t: float
    window: Window
    qc_low: float = 40.0
    fm_low: float = 0.3


_SPARK = {
    CorrectionText.UN_R85_SI: _Exponents(1.2, 0.6, _SPARK_WINDOW),
    CorrectionText.ISO_1585_SI: _Exponents(1.2, 0.6, _SPARK_WINDOW),
}

_COMPRESSION = {
    CorrectionText.UN_R85_CI_NA: _Exponents(1.0, 0.7, _COMPRESSION_WINDOW),
    CorrectionText.UN_R85_CI_TURBO: _Exponents(0.7, 1.5, _COMPRESSION_WINDOW),
    CorrectionText.ISO_1585_CI_NA: _Exponents(1.0, 0.7, _COMPRESSION_WINDOW),
    CorrectionText.ISO_1585_CI_TURBO: _Exponents(0.7, 1.2, _COMPRESSION_WINDOW),
    CorrectionText.SAE_J1349_CI_NA: _Exponents(1.0, 0.7, _J1349_COMPRESSION_WINDOW, 37.2, 0.2),
    CorrectionText.SAE_J1349_CI_AIR_COOLED: _Exponents(
        0.7, 1.2, _J1349_COMPRESSION_WINDOW, 37.2, 0.2
    ),
    CorrectionText.SAE_J1349_CI_WATER_COOLED: _Exponents(
        0.7, 0.7, _J1349_COMPRESSION_WINDOW, 37.2, 0.2
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerCorrection:
    """One text's factor: corrected power = factor * measured power.

    `fa` and `fm` are NaN where the text has none. `in_range` is false where the text forbids
    the correction at this factor or in this weather; the factor is given all the same.
    """

    text: CorrectionText
    factor: float
    fa: float
    fm: float
    in_range: bool


def specific_fuel_mg_per_l_cycle(
    mdot_fuel_kgps: float, displacement_m3: float, *, speed_rpm: float, strokes: int = 4
) -> float:
    """Return fuel per litre of swept volume and working cycle, the texts' q. [mg/(l cycle)]

    Parameters
    ----------
    mdot_fuel_kgps : float
        Fuel mass flow of the whole engine. [kg/s]
    displacement_m3 : float
        Swept volume of all cylinders. [m3]
    speed_rpm : float
        Engine speed. [1/min]
    strokes : int
        2 or 4.

    Raises
    ------
    InputError
        If an argument is zero or negative, or `strokes` is neither 2 nor 4.
    """
    positive(mdot_fuel_kgps, "mdot_fuel_kgps")
    positive(displacement_m3, "displacement_m3")
    positive(speed_rpm, "speed_rpm")
    if strokes not in (2, 4):
        raise InputError(
            "strokes is not a possible value",
            where="argument strokes",
            got=repr(strokes),
            allowed="2 or 4",
            fix="count the strokes of one working cycle",
        )
    cycles = _CYCLES_FOUR_STROKE if strokes == 4 else _CYCLES_TWO_STROKE
    return cycles * (mdot_fuel_kgps * 1e3) / (displacement_m3 * 1e3 * speed_rpm)


def engine_factor(
    q_mg_per_l_cycle: float,
    pressure_ratio: float = 1.0,
    *,
    qc_low: float = 40.0,
    fm_low: float = 0.3,
) -> float:
    """Return the engine factor fm = 0.036 qc - 1.14, qc = q / pressure_ratio, with its limits.

    Parameters
    ----------
    q_mg_per_l_cycle : float
        Fuel per litre and cycle. [mg/(l cycle)]
    pressure_ratio : float
        Compressor outlet to ambient pressure; 1 without a compressor.
    qc_low, fm_low : float
        Below `qc_low` the factor is `fm_low`: 40 and 0.3 in [1] and [2], 37.2 and 0.2 in [3].

    Raises
    ------
    InputError
        If q or the pressure ratio is zero or negative.
    """
    positive(q_mg_per_l_cycle, "q_mg_per_l_cycle")
    positive(pressure_ratio, "pressure_ratio")
    qc = q_mg_per_l_cycle / pressure_ratio
    if qc < qc_low:
        return fm_low
    return 0.036 * min(qc, 65.0) - 1.14


def correct_power(
    text: CorrectionText,
    *,
    p_dry_pa: float,
    t_intake_k: float,
    q_mg_per_l_cycle: float = math.nan,
    pressure_ratio: float = 1.0,
) -> PowerCorrection:
    """Return the power correction of one text and variant.

    Parameters
    ----------
    text : CorrectionText
        Text and variant.
    p_dry_pa : float
        Dry ambient pressure: barometer less water-vapour pressure. [Pa]
    t_intake_k : float
        Temperature of the air at the engine's inlet. [K]
    q_mg_per_l_cycle : float
        Fuel per litre and cycle; needed by the compression-ignition variants only.
        [mg/(l cycle)]
    pressure_ratio : float
        Compressor outlet to ambient pressure; 1 without a compressor.

    Returns
    -------
    PowerCorrection
        With `in_range` false outside the text's own limits.

    Raises
    ------
    InputError
        If a pressure or temperature is not positive, or q is needed and not positive.
    """
    positive(p_dry_pa, "p_dry_pa")
    positive(t_intake_k, "t_intake_k")
    if text in _COMPRESSION:
        exponents = _COMPRESSION[text]
        fa = _atmospheric_factor(exponents, p_dry_pa, t_intake_k)
        fm = engine_factor(
            q_mg_per_l_cycle, pressure_ratio, qc_low=exponents.qc_low, fm_low=exponents.fm_low
        )
        factor, window = fa**fm, exponents.window
    elif text in _SPARK:
        fa = factor = _atmospheric_factor(_SPARK[text], p_dry_pa, t_intake_k)
        fm, window = math.nan, _SPARK[text].window
    elif text is CorrectionText.SAE_J1349_SI:
        fa = fm = math.nan
        # 1.18 and 0.18 stand for friction that the weather leaves as it is [3].
        dry = P_REFERENCE_DRY_PA / p_dry_pa
        factor = 1.18 * dry * math.sqrt(t_intake_k / T_REFERENCE_K) - 0.18
        window = _J1349_SPARK_WINDOW
    else:
        fa = fm = math.nan
        factor = (P_J607_PA / p_dry_pa) * math.sqrt(t_intake_k / T_J607_K)
        window = _NO_WINDOW
    return PowerCorrection(
        text=text,
        factor=factor,
        fa=fa,
        fm=fm,
        in_range=window.holds(factor, p_dry_pa, t_intake_k),
    )


def texts_for(*, compression_ignition: bool, turbocharged: bool) -> tuple[CorrectionText, ...]:
    """Return the texts and variants that can apply to an engine, side by side."""
    text = CorrectionText
    if not compression_ignition:
        return (text.UN_R85_SI, text.ISO_1585_SI, text.SAE_J1349_SI, text.SAE_J607_STD)
    if not turbocharged:
        return (text.UN_R85_CI_NA, text.ISO_1585_CI_NA, text.SAE_J1349_CI_NA, text.SAE_J607_STD)
    return (
        text.UN_R85_CI_TURBO,
        text.ISO_1585_CI_TURBO,
        text.SAE_J1349_CI_AIR_COOLED,
        text.SAE_J1349_CI_WATER_COOLED,
        text.SAE_J607_STD,
    )


def _atmospheric_factor(exponents: _Exponents, p_dry_pa: float, t_k: float) -> float:
    ratio = P_REFERENCE_DRY_PA / p_dry_pa
    return float(ratio**exponents.p * (t_k / T_REFERENCE_K) ** exponents.t)
