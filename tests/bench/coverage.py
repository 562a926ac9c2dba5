"""Coverage study: do the intervals hold the truth, are the verdicts right, is the cause named?

Run as `python -m tests.bench.coverage [--campaigns 1000] [--seed 7] [--cells a,b]`. Campaigns come
from the forward model with unmodelled effects switched on: lag, heat soak, drift of volumetric
efficiency with pressure ratio, smoke-limit feedback.
"""

from __future__ import annotations

import argparse
import os
import time
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from math import ceil

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from airsense.errors import InputError
from airsense.jobs.compare import compare_logs
from airsense.results import Interval
from airsense.simulate.campaign import SimulatedCampaign, simulate_campaigns
from airsense.simulate.engines import ENGINES
from tests.bench.coverage_cases import (
    CELLS,
    Cell,
    confidently_wrong,
    decidable,
    draw_cases,
    right_words,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What one campaign gave, against its truth."""

    cell: str
    engine: str
    skew: float
    change: float
    found_skew: Interval
    found_change: Interval
    verdict: str
    ranked: tuple[str, ...]
    group: frozenset[str]
    two_routes: bool
    shows: bool


def judge(campaign: SimulatedCampaign) -> Outcome:
    """Compare one campaign and put its truth beside the answer."""
    result = compare_logs(campaign.before, campaign.after, campaign.setup)
    pair = result.pairs[0]
    low, high = result.window.engine_speed_rpm
    first = pair.causes[0]
    alike = {c.value for c in first.not_separable_from} | {first.cause.value}
    return Outcome(
        cell=campaign.case.name,
        engine=campaign.engine.name,
        skew=float(campaign.truth.skew(low, high)),
        change=float(campaign.truth.airflow_change(low, high)),
        found_skew=pair.sensor_skew,
        found_change=pair.airflow_change,
        verdict=pair.verdict.value,
        ranked=tuple(c.cause.value for c in pair.causes),
        group=frozenset(alike),
        shows=shows(campaign, low, high),
        two_routes=sum(e.used for e in pair.estimates) >= 2,
    )


def shows(campaign: SimulatedCampaign, low: float, high: float) -> bool:
    """Return whether the planted effect at the sensor or behind it is above 1 % in the window."""
    case = campaign.case
    if not (
        case.skew
        or case.skew_shape
        or case.pulsation
        or case.leak_after_compressor
        or case.leak_before_compressor
    ):
        return True
    truth = campaign.truth
    apart = (
        truth.change(truth.reading, low, high)
        + truth.change(truth.sensor_flow, low, high)
        - truth.change(truth.airflow, low, high)
    )
    return abs(float(apart)) >= 0.01


def _work(task: tuple[int, int, int, int]) -> list[Outcome | str]:
    cell_index, engine_index, count, seed = task
    cases = draw_cases(CELLS[cell_index], count, np.random.default_rng(seed))
    rows: list[Outcome | str] = []
    for campaign in simulate_campaigns(ENGINES[engine_index], cases, seed):
        try:
            rows.append(judge(campaign))
        except InputError as error:
            rows.append(f"{campaign.case.name}: {error.what}")
    return rows


def study(campaigns: int, seed: int, names: Sequence[str] = ()) -> list[Outcome | str]:
    """Run the study on all cores: at least so many campaigns, as many of each cell and engine."""
    chosen = [k for k, c in enumerate(CELLS) if not names or c.name in names]
    each = ceil(campaigns / (len(chosen) * len(ENGINES)))
    seeds = np.random.SeedSequence(seed).generate_state(len(chosen) * len(ENGINES))
    tasks = [
        (cell, engine, each, int(seeds[i * len(ENGINES) + engine]))
        for i, cell in enumerate(chosen)
        for engine in range(len(ENGINES))
    ]
    with ProcessPoolExecutor() as pool:
        return [row for rows in pool.map(_work, tasks) for row in rows]


def half_width(rows: Sequence[Outcome]) -> float:
    """Return the median half-width of the skew."""
    return float(np.median([r.found_skew.half_width for r in rows]))


def covered(rows: Sequence[Outcome]) -> tuple[float, float]:
    """Return the share of intervals that hold the truth: skew, true change."""
    return (
        float(np.mean([r.found_skew.contains(r.skew) for r in rows])),
        float(np.mean([r.found_change.contains(r.change) for r in rows])),
    )


def line(cell: Cell, rows: Sequence[Outcome]) -> str:
    """Return one row of the table."""
    skew, change = covered(rows)
    wrong = sum(confidently_wrong(r.verdict, r.skew, r.change) for r in rows)
    causes = frozenset(cell.cause.split("+"))
    shown = [r for r in rows if r.shows] or rows
    first = float(np.mean([r.ranked[0] in causes for r in shown]))
    group = float(np.mean([bool(causes & r.group) for r in shown]))
    half_change = float(np.median([r.found_change.half_width for r in rows]))
    bias = float(np.median([r.found_skew.value - r.skew for r in rows]))
    words = ", ".join(f"{w} {n}" for w, n in Counter(r.verdict for r in rows).most_common())
    return (
        f"| {cell.name} | {len(rows)} | {skew:.2f} | {change:.2f} | {100 * half_width(rows):.2f} | "
        f"{100 * half_change:.2f} | {100 * bias:+.2f} | {first:.2f} | {group:.2f} | {wrong} | "
        f"{words} |"
    )


def confusion(rows: Sequence[Outcome]) -> list[str]:
    """Return the confusion tables: verdicts, then first-ranked causes, by planted cause."""
    planted = {c.name: c.cause for c in CELLS}
    lines = []
    for title, found in (
        ("verdict", lambda r: r.verdict),
        ("cause ranked first", lambda r: r.ranked[0]),
    ):
        counts = Counter((planted[r.cell], found(r)) for r in rows)
        columns = [word for word, _ in Counter(found(r) for r in rows).most_common()]
        lines += ["", f"| planted, against {title} | " + " | ".join(columns) + " |"]
        lines.append("|---" * (len(columns) + 1) + "|")
        for cause in dict.fromkeys(planted.values()):
            numbers = [counts[cause, word] for word in columns]
            if any(numbers):
                lines.append(f"| {cause} | " + " | ".join(map(str, numbers)) + " |")
    return lines


def report(rows: Sequence[Outcome]) -> str:
    """Return the tables as Markdown."""
    lines = [
        "| cell | n | covers skew | covers change | half-width skew % | change % | bias skew % | "
        "cause first | in group | confidently wrong | verdicts |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for cell in CELLS:
        own = [r for r in rows if r.cell == cell.name]
        if own:
            lines.append(line(cell, own))
    lines += confusion(rows)
    clean = {c.name for c in CELLS if c.clean}
    planted = {c.name: frozenset(c.cause.split("+")) for c in CELLS}
    asked = [r for r in rows if r.cell in clean and decidable(r.skew, r.change)]
    right = float(np.mean([r.verdict in right_words(r.skew, r.change) for r in asked]))
    both = [r for r in rows if r.two_routes and r.cell in clean]
    skew, change = covered(rows)
    named = float(
        np.mean([bool(planted[r.cell] & r.group) for r in rows if r.two_routes and r.shows])
    )
    wrong = [r for r in rows if confidently_wrong(r.verdict, r.skew, r.change)]
    lines += [
        "",
        f"campaigns {len(rows)}; coverage of skew {skew:.3f}, of true change {change:.3f}",
        f"median half-width of the skew, both routes, clean cells: {100 * half_width(both):.2f} %",
        f"verdict right in {100 * right:.1f} % of {len(asked)} decidable clean campaigns",
        f"cause first or in its named group, both routes: {100 * named:.1f} %",
        f"confidently wrong: {len(wrong)}",
    ]
    lines += [f"  wrong: {r}" for r in wrong]
    missed = [r for r in asked if r.verdict not in right_words(r.skew, r.change)]
    lines += [
        f"  missed: {r.cell}, {r.engine}: {r.verdict}, skew {100 * r.skew:+.1f} % "
        f"change {100 * r.change:+.1f} %"
        for r in missed
    ]
    return "\n".join(lines)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--campaigns", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--cells", default="")
    given = parser.parse_args()
    start = time.perf_counter()
    rows = study(given.campaigns, given.seed, [c for c in given.cells.split(",") if c])
    print(report([r for r in rows if isinstance(r, Outcome)]))
    for refused in [r for r in rows if isinstance(r, str)]:
        print("refused:", refused)
    print(f"{time.perf_counter() - start:.0f} s on {os.cpu_count()} cores")


if __name__ == "__main__":
    main()
