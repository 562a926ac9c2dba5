"""Words for the names in a result, and figures as text: one spelling everywhere."""

from __future__ import annotations

import math

from airsense.results import Interval

NOTHING = "–"

METHODS = {
    "mass_air_flow": "air-flow sensor",
    "speed_density": "speed density",
    "fuel_lambda": "fuel and lambda",
    "fuel_trims": "fuel trims",
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
    "manifold_pressure_gain": "manifold-pressure sensor off by a factor",
    "manifold_pressure_offset": "manifold-pressure sensor off by a constant",
    "charge_temperature": "charge temperature off",
    "volumetric_efficiency": "volumetric efficiency changed",
    "recirculation": "exhaust gas recirculation",
    "fuel_scale": "fuel quantity off",
    "lambda_scale": "lambda off",
}
VERDICTS = {
    "gain_supported": "the intake gave more air",
    "partly_supported": "part of it is in the reading only",
    "loss_supported": "the intake costs air",
    "gain_elsewhere": "the gain is not the intake's",
    "reading_only": "the reading changed",
    "no_change": "no change",
    "tune_gain_supported": "the tune gave more air",
    "tune_no_gain": "the tune gave no more air",
    "undetermined": "not decided",
    "plausible": "the reading is credible",
    "implausible": "the reading is off",
    "supported": "supported",
    "contradicted": "contradicted",
    "change": "change the table",
    "leave_it": "leave the table as it is",
    "refused": "no table can be given",
}
# Where no full load was matched, only the reading was looked at.
READING_VERDICTS = {
    "reading_only": "the reading changed",
    "no_change": "the reading did not change",
}
# For a table of many configurations.
BRIEF = {
    "gain_supported": "gain",
    "partly_supported": "part of it",
    "loss_supported": "loss",
    "gain_elsewhere": "not the intake",
    "reading_only": "reading only",
    "tune_gain_supported": "gain",
    "tune_no_gain": "no gain",
    "undetermined": "open",
}
READING_CAUSES = {
    "none": "none: the reading did not change",
    "sensor": "the sensor itself",
    "air_lost_behind_sensor": "air lost behind the sensor",
    "open": "open: the sensor, or air lost behind it",
}
POWER_PLACES = {"wheels": "power at the wheels", "engine": "power at the engine"}
LOG_OUTCOMES = {
    "plausible": "credible",
    "implausible": "off",
    "refused": "cannot be used",
    "failed": "not finished",
}
QUANTITIES = {
    "airflow_change": "air flow of the engine",
    "airflow_change_intake": "the intake's part of it",
    "indicated_surplus": "what is in the reading only",
    "sensor_skew": "sensor's reading",
    "brake_power_change": "brake power",
    "mass_air_flow": "air mass flow",
}
GOOD = frozenset(
    {"gain_supported", "no_change", "tune_gain_supported", "plausible", "supported", "leave_it"}
)
BAD = frozenset(
    {
        "reading_only",
        "gain_elsewhere",
        "loss_supported",
        "tune_no_gain",
        "implausible",
        "contradicted",
        "refused",
    }
)


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
