"""Invented folders of small logs for the screen: one engine, dated drives, a known drift."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from tests.log_writing import drive, save, text

ENGINE = """\
[engine]
name = "test bus"
displacement_l = 0.97
cylinders = 4
ignition = "spark"
volumetric_efficiency = 0.9
[fuel]
name = "petrol_e0"
[charge_temperature]
place = "after_cooler"
"""
STEADY_DATES = ("2026-01-05", "2026-02-11", "2026-04-02", "2026-06-20", "2026-08-15", "2026-10-30")
AFR = 14.5  # about stoichiometric for petrol
FLOW = "Mass Air Flow [g/s]"


def write_engine(folder: Path) -> Path:
    """Write engine.toml and return its path."""
    return save(folder / "engine.toml", ENGINE)


def write_log(path: Path, *, factor: float = 1.0, seed: int = 1) -> Path:
    """Write a drive whose air-flow reading is multiplied by a factor."""
    columns = drive(rate_hz=10.0, seconds=120.0, seed=seed)
    scatter = np.random.default_rng(seed).normal(1.0, 0.01, columns[FLOW].size)
    columns["Fuel Rate [g/s]"] = (columns[FLOW] * scatter / (AFR * columns["Lambda"])).round(4)
    columns[FLOW] = (columns[FLOW] * factor).round(3)
    path.parent.mkdir(parents=True, exist_ok=True)
    return save(path, text(columns))


def write_vehicle(
    folder: Path, *, factor: Callable[[int], float] = lambda _: 1.0, seed: int = 1
) -> list[Path]:
    """Write one log for each date; `factor` gives that of the k-th."""
    return [
        write_log(folder / f"run_{date}.csv", factor=factor(k), seed=seed + k)
        for k, date in enumerate(STEADY_DATES)
    ]


def write_many(folder: Path, count: int) -> list[Path]:
    """Write logs without dates, in two sub-folders."""
    return [write_log(folder / f"v{k % 2}" / f"log_{k:03d}.csv", seed=k) for k in range(count)]
