"""Invented logs for tests: a clean drive of a turbo engine, and a plain CSV writer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Columns = dict[str, NDArray[np.float64]]


def drive(*, rate_hz: float = 10.0, seconds: float = 120.0, seed: int = 1) -> Columns:
    """Return columns in the units of a log: idle, pulls through the speed range, idle again."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, seconds, 1.0 / rate_hz)
    phase = np.clip((time / seconds - 0.1) / 0.8, 0.0, 1.0)
    pull = np.sin(6.0 * np.pi * phase) ** 2
    speed = 800.0 + 2700.0 * pull + rng.normal(0.0, 4.0, time.size)
    manifold = 101.0 + 110.0 * pull**1.5 + rng.normal(0.0, 0.6, time.size)
    flow = 0.00085 * speed * manifold * 0.1 + rng.normal(0.0, 0.3, time.size)
    return {
        "Time [s]": time.round(3),
        "Engine RPM [rpm]": speed.round(0),
        "Intake Manifold Absolute Pressure [kPa]": manifold.round(1),
        "Mass Air Flow [g/s]": flow.round(2),
        "Intake Air Temperature [degC]": (24.0 + 6.0 * phase).round(0),
        "Barometric Pressure [kPa]": np.full(time.size, 100.0),
        "Lambda": (1.3 + 2.0 * (1.0 - pull) + rng.normal(0.0, 0.02, time.size)).round(3),
    }


def text(
    columns: Mapping[str, Sequence[object] | NDArray[np.float64]],
    *,
    delimiter: str = ",",
    decimal: str = ".",
    preamble: str = "",
    units: Sequence[str] | None = None,
    newline: str = "\n",
) -> str:
    """Return columns as CSV text; NaN becomes an empty cell."""

    def cell(value: object) -> str:
        if isinstance(value, float | np.floating):
            if np.isnan(value):
                return ""
            return f"{value:.12g}".replace(".", decimal)
        return str(value)

    rows = [delimiter.join(columns)]
    if units is not None:
        rows.append(delimiter.join(units))
    rows += [delimiter.join(map(cell, row)) for row in zip(*columns.values(), strict=True)]
    return preamble + newline.join(rows) + newline


def save(path: Path, content: str | bytes, encoding: str = "utf-8") -> Path:
    """Write a log and return its path."""
    path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))
    return path
