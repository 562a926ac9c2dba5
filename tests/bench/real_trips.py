"""Eleven real trips of one unaltered car, every pair: does the answer hold a truth that is known?

``python -m tests.bench.real_trips [--quick]``. The truth is that nothing was changed: the surplus
of the reading is 0, or the factor that is planted here on the second trip. `--quick` takes a
fifth of the pairs and one folder to screen.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import shutil
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from airsense.errors import InputError
from airsense.estimates.prepare import prepare
from airsense.estimates.recirculation import valve_shut
from airsense.estimates.segments import segment
from airsense.jobs import screen
from airsense.jobs.check import check_logs
from airsense.jobs.compare import compare_logs
from airsense.logs.log import Log
from airsense.results import Interval
from airsense.setup.engine import ChargeTemperature, TemperaturePlace
from tests.kit import SETUP as BARE
from tests.kit import TRIPS, trip

SETUP = BARE.model_copy(
    update={"charge_temperature": ChargeTemperature(place=TemperaturePlace.BEFORE_COMPRESSOR)}
)
ENGINE_TOML = """[engine]
displacement_l = 1.97
cylinders = 4
ignition = "compression"
[charge_temperature]
place = "before_compressor"
"""
FACTORS = (1.0, 1.15, 1.05)
SCREENED_FACTOR = 1.3
SCREENED = ("trip_2017-07-24_motorway.csv", "trip_2018-02-26_motorway.csv")
FLOW_COLUMN = "Air Flow Rate from Mass Flow Sensor"
# Differences of intake temperature that are told apart. [K]
APART_K = ((0.0, 6.0), (6.0, 15.0), (15.0, 25.0), (25.0, 60.0))
QUICK_STEP = 5
NO_CLAIM = ("undetermined", "no_change")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One comparison: two trips, the planted factor, what came out. No surplus: no match."""

    before: str
    after: str
    factor: float
    apart_k: float
    surplus: Interval | None
    verdict: str
    said_no_match: bool
    failed: str = ""

    @property
    def matched(self) -> bool:
        """Whether the pair has a surplus."""
        return self.surplus is not None

    @property
    def holds(self) -> bool:
        """Whether the interval holds the planted surplus."""
        return self.surplus is not None and self.surplus.contains(self.factor - 1.0)

    @property
    def claims(self) -> bool:
        """Whether the verdict says that something changed."""
        return not self.failed and self.verdict not in NO_CLAIM

    @property
    def decided(self) -> bool:
        """Whether the verdict claims a change of the reading, to the side that was planted."""
        if self.surplus is None or self.verdict != "reading_only":
            return False
        return (self.surplus.value > 0.0) == (self.factor > 1.0)


def names() -> list[str]:
    """Return the file names of the trips, in order of date."""
    return sorted(path.name for path in TRIPS.glob("trip_*.csv"))


def scaled(log: Log, factor: float) -> Log:
    """Return the log with another reading of the air flow."""
    flow = log["mass_air_flow"]
    changed = replace(flow, value=factor * flow.value)
    return replace(log, channels={**log.channels, "mass_air_flow": changed})


def intake_k(name: str) -> float:
    """Return the median intake temperature where the valve is shut, else of the whole trip. [K]"""
    run = prepare(trip(name), SETUP)
    shut = valve_shut(run, segment(run), SETUP)
    use = shut.mask if shut.mask.any() else np.ones_like(shut.mask)
    return float(np.nanmedian(run.log.at("intake_temperature", run.time_s[use])))


def compared(before: str, after: str, factor: float, apart_k: float) -> Row:
    """Compare two trips, the reading of the second one times a factor."""
    row = Row(
        before=before,
        after=after,
        factor=factor,
        apart_k=apart_k,
        surplus=None,
        verdict="",
        said_no_match=False,
    )
    try:
        result = compare_logs([trip(before)], [scaled(trip(after), factor)], SETUP)
    except InputError as error:
        return replace(row, failed=str(error).splitlines()[0])
    pair = result.pairs[0]
    return replace(
        row,
        surplus=pair.indicated_surplus,
        verdict=pair.verdict.value,
        said_no_match=any(finding.code == "no_match" for finding in result.findings),
    )


def all_pairs(quick: bool) -> list[Row]:
    """Compare every pair of trips with every factor."""
    warmth = {name: intake_k(name) for name in names()}
    pairs = list(itertools.combinations(names(), 2))[:: QUICK_STEP if quick else 1]
    return [
        compared(before, after, factor, abs(warmth[after] - warmth[before]))
        for before, after in pairs
        for factor in FACTORS
    ]


def share(rows: Iterable[bool]) -> str:
    """Return a share with its count, as it is printed."""
    hits = list(rows)
    return f"{sum(hits)} of {len(hits)}" + (f" ({np.mean(hits):.2f})" if hits else "")


def half_width(rows: Sequence[Row]) -> str:
    """Return median and largest half-width. [%]"""
    widths = [100.0 * row.surplus.half_width for row in rows if row.surplus is not None]
    if not widths:
        return "-"
    return f"{np.median(widths):.2f} % median, {np.max(widths):.2f} % at most"


def pair_lines(rows: Sequence[Row]) -> list[str]:
    """Return what the comparisons give, one figure a line."""
    plain = [row for row in rows if row.factor == 1.0]
    matched = [row for row in plain if row.matched]
    lines = [
        f"pairs: {len(plain)}",
        f"without a match: {share(not r.matched for r in plain)}",
        f"  of these with a finding that says so: "
        f"{share(r.said_no_match for r in plain if not r.matched)}",
        f"  of these ended by an error: {share(bool(r.failed) for r in plain if not r.matched)}",
        f"unaltered, interval holds 0: {share(r.holds for r in matched)}",
        f"unaltered, a change claimed: {share(r.claims for r in plain)}",
    ]
    lines += [f"  {r.before} -> {r.after}: {r.verdict} {r.surplus}" for r in plain if r.claims]
    lines += [f"  misses 0: {r.before} -> {r.after}: {r.surplus}" for r in matched if not r.holds]
    for low, high in APART_K:
        near = [r for r in rows if r.matched and low <= r.apart_k < high]
        base = [r for r in near if r.factor == 1.0]
        lines.append(
            f"intake {low:.0f} to {high:.0f} K apart: {len(base)} pairs; "
            f"half-width {half_width(base)}"
        )
        lines += [
            f"  MAF x {factor}: decided {share(r.decided for r in near if r.factor == factor)}"
            for factor in FACTORS[1:]
        ]
    for factor in FACTORS[1:]:
        planted = [r for r in rows if r.factor == factor and r.matched]
        lines.append(
            f"MAF x {factor}: decided {share(r.decided for r in planted)}, "
            f"interval holds the factor {share(r.holds for r in planted)}"
        )
    return lines


def check_lines() -> list[str]:
    """Return the verdict of `check` on each trip."""
    lines = []
    for name in names():
        got = check_logs([trip(name)], SETUP)
        error = got.sensor_error
        shown = "-" if error is None else f"{error.value:+.3f} ({error.low:+.3f} {error.high:+.3f})"
        lines.append(f"check {name}: {got.verdict.value} {shown}")
    return lines


def write_scaled(source: Path, target: Path, factor: float) -> None:
    """Write a trip with its air-flow column times a factor."""
    with source.open(encoding="utf-8", newline="") as old:
        rows = list(csv.reader(old))
    column = next(k for k, title in enumerate(rows[0]) if title.startswith(FLOW_COLUMN))
    for row in rows[1:]:
        if column < len(row) and row[column]:
            row[column] = f"{factor * float(row[column]):.3f}"
    with target.open("w", encoding="utf-8", newline="") as new:
        csv.writer(new).writerows(rows)


def screened(altered: str) -> str:
    """Screen all trips, one of them altered; return its rank and what the others are called."""
    with tempfile.TemporaryDirectory() as folder:
        logs = Path(folder) / "logs"
        logs.mkdir()
        for name in names():
            shutil.copy(TRIPS / name, logs / name)
        # What is handed over may be read-only, and so is a copy of it.
        (logs / altered).unlink()
        write_scaled(TRIPS / altered, logs / altered, SCREENED_FACTOR)
        engine = Path(folder) / "engine.toml"
        engine.write_text(ENGINE_TOML, encoding="utf-8")
        result = screen.run(str(logs), engine, screen.ScreenOptions(workers=1))
    order = [row.log for row in result.logs]
    called = ", ".join(f"{row.log}: {row.outcome.value}" for row in result.logs)
    return f"screen, {altered} x {SCREENED_FACTOR}: rank {order.index(altered) + 1}; {called}"


def main() -> None:
    """Run the bench and print its table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a fifth of the pairs")
    quick = parser.parse_args().quick
    for line in pair_lines(all_pairs(quick)):
        print(line, flush=True)
    for line in check_lines():
        print(line, flush=True)
    for name in SCREENED[: 1 if quick else None]:
        print(screened(name), flush=True)


if __name__ == "__main__":
    main()
