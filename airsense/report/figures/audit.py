"""Figures of an audit: every check of every subject at a glance, and what contradicts what."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from airsense.report.figure import Picture
from airsense.report.figures.forest import TONE_MARKERS, TONES, Row, forest, in_lines
from airsense.report.figures.style import GRID, INK, new_figure
from airsense.report.node import Node
from airsense.report.units_shown import Shown
from airsense.report.words import percent_interval, say, tone

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Worst first: a cell of several findings shows the worst of them.
OUTCOMES = ("contradicted", "undetermined", "supported")
MOST_PAIRS = 8
MOST_SUBJECTS = 40
SUBJECT_WIDTH = 32


def pictures(result: Node, shown: Shown) -> tuple[Picture, ...]:
    """Return the figures of an audit."""
    findings = result.findings or ()
    if not findings:
        return ()
    counts = ", ".join(f"{sum(f.outcome == o for f in findings)} {o}" for o in OUTCOMES)
    found = [
        Picture(
            name="matrix",
            title="Every check at a glance",
            caption="One row a subject, one column a check. Cross: the printed figures contradict "
            "each other; diamond: open; dot: they agree. Empty: the check does not apply.",
            alt=f"Matrix of checks against subjects: {counts}.",
            draw=lambda: _draw_matrix(findings),
        )
    ]
    rows = _against(findings)
    if rows:
        found.append(
            Picture(
                name="contradictions",
                title="What is printed, and what would be sound",
                caption="For each contradiction the printed change (cross) and the range that the "
                "other figures allow (hollow dot), with 95 % intervals.",
                alt="; ".join(f"{r.label} {percent_interval(r.interval)}" for r in rows),
                draw=lambda: forest(rows, "in %"),
            )
        )
    return tuple(found)


def _draw_matrix(findings: Sequence[Node]) -> Figure:
    subjects = list(dict.fromkeys(f.subject for f in findings))[:MOST_SUBJECTS]
    checks = list(dict.fromkeys(f.check for f in findings))
    figure = new_figure(1.7 + 0.33 * len(subjects))
    axes = figure.add_subplot()
    for outcome in reversed(OUTCOMES):
        look = tone(outcome)
        cells = {
            (checks.index(f.check), -subjects.index(f.subject))
            for f in findings
            if f.outcome == outcome and f.subject in subjects
        }
        worse = {
            (checks.index(f.check), -subjects.index(f.subject))
            for f in findings
            if f.subject in subjects and OUTCOMES.index(f.outcome) < OUTCOMES.index(outcome)
        }
        chosen = sorted(cells - worse)
        axes.plot(
            [x for x, _ in chosen],
            [y for _, y in chosen],
            linestyle="none",
            marker=TONE_MARKERS[look],
            color=TONES[look],
            markerfacecolor="white" if look == "open" else TONES[look],
            markersize=7.5 if look == "bad" else 6.0,
            label=outcome,
        )
    axes.set_xticks(
        range(len(checks)), [say(c) for c in checks], rotation=55, ha="left", rotation_mode="anchor"
    )
    axes.xaxis.tick_top()
    axes.set_yticks(
        [-k for k in range(len(subjects))], [in_lines(s, SUBJECT_WIDTH) for s in subjects]
    )
    axes.set_xlim(-0.6, len(checks) - 0.4)
    axes.set_ylim(-len(subjects) + 0.4, 0.6)
    axes.tick_params(length=0)
    axes.grid(color=GRID)
    for spine in axes.spines.values():
        spine.set_visible(False)
    figure.legend(loc="outside lower right", ncols=3)
    return figure


def _against(findings: Sequence[Node]) -> list[Row]:
    rows: list[Row] = []
    for finding in findings:
        usable = finding.measured is not None and finding.expected is not None
        if finding.outcome != "contradicted" or not usable or finding.unit != "fraction":
            continue
        name = f"{say(finding.check)}, {finding.subject}"
        rows.append(
            Row(label=name, interval=finding.measured, colour=TONES["bad"], marker="X", group=name)
        )
        rows.append(
            Row(label="allowed", interval=finding.expected, colour=INK, hollow=True, group=name)
        )
        if len(rows) >= 2 * MOST_PAIRS:
            break
    return rows
