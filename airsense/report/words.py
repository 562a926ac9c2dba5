"""Words for the names in a result, and figures as text: one spelling everywhere."""

from __future__ import annotations

import math

from airsense.results import Interval

NOTHING = "–"

METHODS = {
    "mass_air_flow": "air-flow sensor",
    "speed_density": "speed density",
    "fuel_lambda": "fuel and lambda",
    "brake_power": "brake power",
    "inlet_depression": "intake depression",
}
CAUSES = {
    "none": "no change of the reading",
    "sensor_scale": "sensor reads by a factor",
    "sensor_shape": "sensor curve bent",
    "pulsation": "pulsation at low speed",
    "leak_after_compressor": "leak after the compressor",
    "leak_before_compressor": "leak before the compressor",
    "manifold_pressure": "manifold-pressure sensor off",
    "charge_temperature": "charge temperature off",
    "volumetric_efficiency": "volumetric efficiency changed",
    "recirculation": "exhaust gas recirculation",
    "fuel_scale": "fuel quantity off",
    "lambda_scale": "lambda off",
}
VERDICTS = {
    "gain_supported": "the gain is real",
    "partly_supported": "part of the gain is real",
    "sensor_skew": "the sensor's reading changed",
    "no_change": "no change",
    "loss_supported": "the engine breathes less",
    "undetermined": "undetermined",
    "plausible": "plausible",
    "implausible": "implausible",
    "supported": "supported",
    "contradicted": "contradicted",
    "change": "change the table",
    "leave_it": "leave the table as it is",
    "refused": "no table can be given",
    "measured": "measured",
    "interpolated": "interpolated",
    "held": "held",
}
LOG_OUTCOMES = {"refused": "cannot be used", "failed": "not finished"}
QUANTITIES = {
    "airflow_change": "air flow of the engine",
    "sensor_skew": "sensor's reading",
    "brake_power_change": "brake power",
    "mass_air_flow": "air mass flow",
}
GOOD = frozenset({"gain_supported", "no_change", "plausible", "supported", "leave_it"})
BAD = frozenset({"sensor_skew", "implausible", "contradicted", "refused", "loss_supported"})


def say(name: object) -> str:
    """Return the words for a name in a result, or the name with blanks."""
    text = str(name)
    for table in (VERDICTS, METHODS):
        if text in table:
            return table[text]
    return text.replace("_", " ")


def cause(name: object) -> str:
    """Return the words for a cause: some share their name with a quantity."""
    return CAUSES.get(str(name), say(name))


def quantity_name(name: object) -> str:
    """Return the words for a quantity: some share their name with a verdict or a route."""
    return QUANTITIES.get(str(name), say(name))


def log_outcome(name: object) -> str:
    """Return the words for what became of a log in a screen."""
    return LOG_OUTCOMES.get(str(name), say(name))


def tone(verdict: object) -> str:
    """Return 'good', 'bad' or 'open' for a verdict: what the colour of a badge says."""
    name = str(verdict)
    if name in GOOD:
        return "good"
    return "bad" if name in BAD else "open"


def percent(fraction: float | None, digits: int = 1, *, sign: bool = True) -> str:
    """Return a fraction in per cent, a proper minus sign and no signed zero."""
    if fraction is None or not math.isfinite(fraction):
        return NOTHING
    text = f"{100.0 * fraction:+.{digits}f}" if sign else f"{100.0 * fraction:.{digits}f}"
    if float(text) == 0.0:
        text = text.lstrip("+-")
    return f"{text} %".replace("-", "−")


def percent_range(interval: Interval | None, digits: int = 1) -> str:
    """Return 'low to high' in per cent."""
    if interval is None or not math.isfinite(interval.low + interval.high):
        return NOTHING
    return f"{percent(interval.low, digits)[:-2]} to {percent(interval.high, digits)}"


def percent_interval(interval: Interval | None, digits: int = 1) -> str:
    """Return 'value (low to high)' in per cent."""
    if interval is None or not math.isfinite(interval.value):
        return NOTHING
    return f"{percent(interval.value, digits)} ({percent_range(interval, digits)})"


def probability(value: float | None) -> str:
    """Return a probability in per cent that never rounds to certainty."""
    if value is None or not math.isfinite(value):
        return NOTHING
    if value > 0.999:
        return "> 99.9 %"
    if value < 0.001:
        return "< 0.1 %"
    return f"{100.0 * value:.1f} %" if value > 0.99 or value < 0.01 else f"{100.0 * value:.0f} %"


def number(value: float | None, digits: int = 3) -> str:
    """Return a number with so many significant digits, never in powers of ten below 10^6."""
    if value is None or not math.isfinite(value):
        return NOTHING
    if value == 0.0:
        return "0"
    decimals = max(digits - 1 - math.floor(math.log10(abs(value))), 0)
    if decimals > 8 or abs(value) >= 1e9:
        return f"{value:.{digits - 1}e}".replace("-", "−")
    return f"{value:.{decimals}f}".replace("-", "−")
