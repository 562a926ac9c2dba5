"""Coverage study: do the intervals hold the truth, are the verdicts right, is the cause named?

Run as `python -m tests.bench.coverage [--campaigns 1000] [--seed 7] [--cells "a;b"]
[--scatter 1.5]`. Campaigns come from the forward model with unmodelled effects switched on: lag,
heat soak, drift of volumetric efficiency with pressure ratio, smoke-limit feedback. `--scatter`
makes runs and configurations scatter so many times the declared.
"""

from __future__ import annotations

import argparse
import os
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from math import ceil

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from airsense.errors import InputError
from airsense.jobs.compare import compare_logs
from airsense.results import Interval
from tests.bench.answers import GAIN_WORDS, answer_of
from tests.bench.coverage_cases import (
    CELLS,
    Cell,
    confidently_wrong,
    decidable,
    draw_cases,
    right_words,
)
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.engines import ENGINES
from tests.simulate.parts import Parts, parts_of

PARTS = ("weather", "intake", "demand", "feedback")
FALSE_BELOW = 0.005  # a gain of the intake below this is none
REAL_FROM = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What one campaign gave, against its truth.

    `parts` are the true parts of the engine's change, by counterfactual passes; empty where
    none were made. What drifted of the engine itself stands with the intake.
    """

    cell: str
    engine: str
    skew: float
    surplus: float
    change: float
    parts: Mapping[str, float]
    found_parts: Mapping[str, Interval]
    found_skew: Interval
    found_surplus: Interval
    found_change: Interval
    verdict: str
    reading_cause: str
    ranked: tuple[str, ...]
    group: frozenset[str]
    two_routes: bool
    shows: bool

    @property
    def intake(self) -> float | None:
        """The intake's true part, where it is known."""
        return self.parts.get("intake")

    @property
    def wrong(self) -> bool:
        """Whether the verdict claims what is not there."""
        return confidently_wrong(self.verdict, self.surplus, self.change, self.intake)

    @property
    def right(self) -> bool:
        """Whether the verdict is one of the right ones."""
        return self.verdict in right_words(self.surplus, self.change, self.intake)


def judge(campaign: SimulatedCampaign, parts: Parts | None = None) -> Outcome:
    """Compare one campaign and put its truth beside the answer."""
    result = compare_logs(campaign.before, campaign.after, campaign.setup)
    answer = answer_of(result)
    if answer.window_rpm is None:
        raise InputError("sweeps share no window", where=campaign.case.name)
    low, high = answer.window_rpm
    keys = {name: f"airflow_change_{name}" for name in PARTS}
    return Outcome(
        cell=campaign.case.name,
        engine=campaign.engine.name,
        skew=campaign.skew(low, high),
        surplus=campaign.surplus(low, high),
        change=campaign.truth.airflow_change(low, high),
        parts={} if parts is None else true_parts(parts, low, high),
        found_parts={n: answer.intervals[k] for n, k in keys.items() if k in answer.intervals},
        found_skew=answer.intervals["sensor_skew"],
        found_surplus=answer.intervals["indicated_surplus"],
        found_change=answer.intervals["airflow_change"],
        verdict=answer.verdict,
        reading_cause=answer.reading_cause,
        ranked=answer.causes,
        group=answer.group,
        shows=shows(campaign, low, high),
        two_routes=answer.routes_used >= 2,
    )


def true_parts(parts: Parts, low: float, high: float) -> dict[str, float]:
    """Return the true parts in the window, by name, as plain fractions."""
    found = {name: parts.change(name, low, high) for name in PARTS}
    found["intake"] = (1.0 + found["intake"]) * (1.0 + parts.change("engine", low, high)) - 1.0
    return found


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
    return abs(campaign.truth.surplus(low, high)) >= 0.01


def _work(task: tuple[int, int, int, int, float | None]) -> list[Outcome | str]:
    cell_index, engine_index, count, seed, scatter = task
    cases = draw_cases(CELLS[cell_index], count, np.random.default_rng(seed), scatter)
    rows: list[Outcome | str] = []
    engine = ENGINES[engine_index]
    split = parts_of(engine, cases, seed)
    for campaign, parts in zip(simulate_campaigns(engine, cases, seed), split, strict=True):
        try:
            rows.append(judge(campaign, parts))
        except InputError as error:
            rows.append(f"{campaign.case.name}: {error.what}")
    return rows


def study(
    campaigns: int, seed: int, names: Sequence[str] = (), scatter: float | None = None
) -> list[Outcome | str]:
    """Run the study on all cores: at least so many campaigns, as many of each cell and engine."""
    chosen = [k for k, c in enumerate(CELLS) if not names or c.name in names]
    each = ceil(campaigns / (len(chosen) * len(ENGINES)))
    seeds = np.random.SeedSequence(seed).generate_state(len(chosen) * len(ENGINES))
    tasks = [
        (cell, engine, each, int(seeds[i * len(ENGINES) + engine]), scatter)
        for i, cell in enumerate(chosen)
        for engine in range(len(ENGINES))
    ]
    with ProcessPoolExecutor() as pool:
        return [row for rows in pool.map(_work, tasks) for row in rows]


def half_width(rows: Sequence[Outcome]) -> float:
    """Return the median half-width of the skew."""
    return float(np.median([r.found_skew.half_width for r in rows]))


def covered_surplus(rows: Sequence[Outcome]) -> float:
    """Return the share of intervals of the surplus that hold the truth."""
    return float(np.mean([r.found_surplus.contains(r.surplus) for r in rows]))


def covered(rows: Sequence[Outcome]) -> tuple[float, float]:
    """Return the share of intervals that hold the truth: skew, true change."""
    return (
        float(np.mean([r.found_skew.contains(r.skew) for r in rows])),
        float(np.mean([r.found_change.contains(r.change) for r in rows])),
    )


def line(cell: Cell, rows: Sequence[Outcome]) -> str:
    """Return one row of the table."""
    skew, change = covered(rows)
    surplus = covered_surplus(rows)
    half_surplus = float(np.median([r.found_surplus.half_width for r in rows]))
    wrong = sum(r.wrong for r in rows)
    causes = frozenset(cell.cause.split("+"))
    shown = [r for r in rows if r.shows] or rows
    first = float(np.mean([r.ranked[0] in causes for r in shown]))
    group = float(np.mean([bool(causes & r.group) for r in shown]))
    half_change = float(np.median([r.found_change.half_width for r in rows]))
    bias = float(np.median([r.found_skew.value - r.skew for r in rows]))
    words = ", ".join(f"{w} {n}" for w, n in Counter(r.verdict for r in rows).most_common())
    shares = f"{surplus:.2f} | {skew:.2f} | {change:.2f}"
    widths = [100.0 * w for w in (half_surplus, half_width(rows), half_change)]
    sizes = f"{widths[0]:.2f} | {widths[1]:.2f} | {widths[2]:.2f} | {100 * bias:+.2f}"
    named = f"{first:.2f} | {group:.2f} | {wrong}"
    return f"| {cell.name} | {len(rows)} | {shares} | {sizes} | {named} | {words} |"


def parts_line(cell: Cell, rows: Sequence[Outcome]) -> str:
    """Return one row of the table of parts; a part that is not given is not counted."""
    cells = [cell.name, str(len(rows))]
    for name in PARTS:
        given = [r for r in rows if name in r.found_parts]
        held = [r.found_parts[name].contains(r.parts[name]) for r in given]
        cells.append(f"{np.mean(held):.2f} of {len(held)}" if held else "-")
    widths = [r.found_parts["intake"].half_width for r in rows if "intake" in r.found_parts]
    cells.append(f"{100.0 * np.median(widths):.2f}" if widths else "-")
    claimed = [r.verdict in GAIN_WORDS for r in rows if r.parts["intake"] < FALSE_BELOW]
    found = [r.verdict in GAIN_WORDS for r in rows if r.parts["intake"] >= REAL_FROM]
    cells += [f"{sum(claimed)} of {len(claimed)}", f"{sum(found)} of {len(found)}"]
    return "| " + " | ".join(cells) + " |"


def parts_report(rows: Sequence[Outcome]) -> list[str]:
    """Return the table of the parts as Markdown."""
    heads = ["cell", "n", *(f"covers {name}" for name in PARTS), "half-width intake %"]
    heads += [f"claimed below {FALSE_BELOW:.1%}", f"found from {REAL_FROM:.1%}"]
    lines = ["", "| " + " | ".join(heads) + " |", "|---" * len(heads) + "|"]
    for cell in CELLS:
        own = [r for r in rows if r.cell == cell.name]
        if own:
            lines.append(parts_line(cell, own))
    return lines


def confusion(rows: Sequence[Outcome]) -> list[str]:
    """Return the confusion tables: verdicts, then first-ranked causes, by planted cause."""
    planted = {c.name: c.cause for c in CELLS}
    lines = []
    for title, found in (
        ("verdict", lambda r: r.verdict),
        ("cause ranked first", lambda r: r.ranked[0]),
        ("cause of the reading", lambda r: r.reading_cause),
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
        "| cell | n | covers surplus | covers skew | covers change | half-width surplus % | "
        "skew % | change % | bias skew % | cause first | in group | confidently wrong | verdicts |",
        "|---" * 13 + "|",
    ]
    for cell in CELLS:
        own = [r for r in rows if r.cell == cell.name]
        if own:
            lines.append(line(cell, own))
    lines += parts_report(rows)
    lines += confusion(rows)
    clean = {c.name for c in CELLS if c.clean}
    planted = {c.name: frozenset(c.cause.split("+")) for c in CELLS}
    asked = [r for r in rows if r.cell in clean and decidable(r.skew)]
    right = float(np.mean([r.right for r in asked])) if asked else float("nan")
    both = [r for r in rows if r.two_routes and r.cell in clean]
    skew, change = covered(rows)
    named = float(
        np.mean([bool(planted[r.cell] & r.group) for r in rows if r.two_routes and r.shows])
    )
    wrong = [r for r in rows if r.wrong]
    lines += [
        "",
        f"campaigns {len(rows)}; coverage of surplus {covered_surplus(rows):.3f}, "
        f"of skew {skew:.3f}, of true change {change:.3f}",
        f"median half-width of the skew, both routes, clean cells: {100 * half_width(both):.2f} %",
        f"verdict right in {100 * right:.1f} % of {len(asked)} decidable clean campaigns",
        f"cause first or in its named group, both routes: {100 * named:.1f} %",
        f"confidently wrong: {len(wrong)}",
    ]
    lines += [f"  wrong: {r}" for r in wrong]
    missed = [r for r in asked if not r.right]
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
    parser.add_argument("--scatter", type=float, help="true scatter over the declared")
    given = parser.parse_args()
    start = time.perf_counter()
    names = [c for c in given.cells.split(";") if c]
    rows = study(given.campaigns, given.seed, names, given.scatter)
    print(report([r for r in rows if isinstance(r, Outcome)]))
    for refused in [r for r in rows if isinstance(r, str)]:
        print("refused:", refused)
    print(f"{time.perf_counter() - start:.0f} s on {os.cpu_count()} cores")


if __name__ == "__main__":
    main()
