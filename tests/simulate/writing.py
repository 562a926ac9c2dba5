"""Simulated logs as CSV files, in plain styles that loggers of all kinds write."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from pathlib import Path

import numpy as np

from airsense.arrays import FloatArray
from airsense.logs.log import Channel, Log
from tests.simulate.campaign import SimulatedCampaign
from tests.simulate.sampling import display_scale


class TimeStyle(Enum):
    """How the time column is written."""

    SECONDS = "s"
    MILLISECONDS = "ms"
    CLOCK = "clock"


@dataclass(frozen=True, slots=True, kw_only=True)
class CsvStyle:
    """One way to write a CSV log.

    `fill` repeats the last value of a channel in the rows in which it was not polled, and
    starts at the first row at which every channel has one.
    """

    delimiter: str = ","
    decimal: str = "."
    us_units: bool = False
    unit_row: bool = False
    time: TimeStyle = TimeStyle.SECONDS
    fill: bool = False


METRIC_COMMA = CsvStyle()
US_SEMICOLON = CsvStyle(delimiter=";", decimal=",", us_units=True)
UNIT_ROW_MS = CsvStyle(unit_row=True, time=TimeStyle.MILLISECONDS)
STAGGERED_CLOCK = CsvStyle(time=TimeStyle.CLOCK, fill=True)
STYLES = (METRIC_COMMA, US_SEMICOLON, UNIT_ROW_MS, STAGGERED_CLOCK)

# Ten past nine: any time.
CLOCK_START_S = 9.0 * 3600.0 + 12.0 * 60.0
_UNITS_BY_CHANNEL = {
    # canonical name: (metric, US)
    "engine_speed": ("rpm", "rpm"),
    "mass_air_flow": ("g/s", "lb/min"),
    "air_per_stroke": ("mg", "mg"),
    "maf_signal": ("V", "V"),
    "manifold_pressure": ("kPa", "psi"),
    "boost_pressure": ("kPa", "psi"),
    "barometric_pressure": ("kPa", "inHg"),
    "inlet_depression": ("Pa", "inH2O"),
    "charge_temperature": ("degC", "degF"),
    "intake_temperature": ("degC", "degF"),
    "fuel_per_stroke": ("mg", "mg"),
    "lambda": ("-", "-"),
    "pedal": ("%", "%"),
    "brake_power": ("kW", "hp"),
    "wheel_power": ("kW", "hp"),
    "boost_demand": ("kPa", "psi"),
}


def write_csv(
    what: Log | SimulatedCampaign, folder: str | Path, style: CsvStyle = METRIC_COMMA
) -> list[Path]:
    """Write a log, or all logs of a campaign, as CSV files.

    Parameters
    ----------
    what : Log or SimulatedCampaign
    folder : path
        Made if missing; files are named after the logs (`before_1.csv` ...).
    style : CsvStyle

    Returns
    -------
    list of Path
        Before-runs first.
    """
    logs = [what] if isinstance(what, Log) else [*what.before, *what.after]
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    paths = []
    for log in logs:
        path = target / f"{Path(log.path).name}.csv"
        path.write_text(csv_text(log, style), encoding="utf-8", newline="")
        paths.append(path)
    return paths


def csv_text(log: Log, style: CsvStyle) -> str:
    """Return the log as the text of a CSV file."""
    channels = _gauge(log) if style.us_units else list(log.channels.values())
    units = [_UNITS_BY_CHANNEL[channel.name][style.us_units] for channel in channels]
    times = np.unique(np.concatenate([channel.time_s for channel in channels]))
    columns = [_cells(c, unit, times, style) for c, unit in zip(channels, units, strict=True)]
    start = max(cells.index(next(filter(None, cells))) for cells in columns) if style.fill else 0
    clock = [_time(t, style) for t in times]
    rows = zip(clock[start:], *(cells[start:] for cells in columns), strict=True)
    lines = [*_head(channels, units, style), *(style.delimiter.join(row) for row in rows)]
    return "\r\n".join(lines) + "\r\n"


def _head(channels: list[Channel], units: list[str], style: CsvStyle) -> list[str]:
    time_unit = "" if style.time is TimeStyle.CLOCK else style.time.value
    names = ["time", *(channel.header for channel in channels)]
    all_units = [time_unit, *units]
    if style.unit_row:
        return [style.delimiter.join(names), style.delimiter.join(all_units)]
    bracketed = [f"{n} ({u})" if u else n for n, u in zip(names, all_units, strict=True)]
    return [style.delimiter.join(bracketed)]


def _gauge(log: Log) -> list[Channel]:
    """Return the channels with boost over the barometer in place of absolute pressure."""
    channels = list(log.channels.values())
    if "manifold_pressure" not in log or "barometric_pressure" not in log:
        return channels
    absolute = log["manifold_pressure"]
    boost = Channel(
        name="boost_pressure",
        header="boost pressure",
        unit_read="",
        time_s=absolute.time_s,
        value=absolute.value - float(np.median(log["barometric_pressure"].value)),
        resolution=absolute.resolution,
    )
    return [boost if channel is absolute else channel for channel in channels]


def _cells(channel: Channel, unit: str, times: FloatArray, style: CsvStyle) -> list[str]:
    """Return the text of one column at all row times; "" where there is no sample."""
    factor, zero = display_scale(channel.name, unit)
    decimals = _decimals(channel, unit, factor)
    texts = [f"{v:.{decimals}f}" for v in (channel.value - zero) / factor]
    if style.decimal != ".":
        texts = [text.replace(".", style.decimal) for text in texts]
    last = np.searchsorted(channel.time_s, times, side="right") - 1
    if style.fill:
        return [texts[i] if i >= 0 else "" for i in last]
    fresh = (last >= 0) & (channel.time_s[np.maximum(last, 0)] == times)
    return [texts[i] if is_new else "" for i, is_new in zip(last, fresh, strict=True)]


def _decimals(channel: Channel, unit: str, factor: float) -> int:
    """Return the logger's own digits, or one more where the unit is another."""
    if channel.resolution <= 0.0:
        return 4
    digits = int(np.ceil(-np.log10(channel.resolution / factor) - 1e-6))
    return max(0, digits + (unit != channel.unit_read))


def _time(time_s: float, style: CsvStyle) -> str:
    if style.time is TimeStyle.MILLISECONDS:
        return f"{time_s * 1e3:.0f}"
    if style.time is TimeStyle.SECONDS:
        return f"{time_s:.3f}".replace(".", style.decimal)
    milliseconds = round((CLOCK_START_S + time_s) * 1e3)
    hours, rest = divmod(milliseconds, 3_600_000)
    minutes, rest = divmod(rest, 60_000)
    return f"{hours:02d}:{minutes:02d}:{rest // 1000:02d}.{rest % 1000:03d}"
