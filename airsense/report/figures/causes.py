"""Causes with their probability: shared by compare and check."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from airsense.report.figure import Picture
from airsense.report.figures.style import AFTER, GRID, SOFT, new_figure, percent_axis
from airsense.report.node import Node
from airsense.report.words import cause, probability

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# A probability of one leaves room for its number.
ROOM_FOR_NUMBER = 1.14


def causes_picture(causes: Sequence[Node], tail: str = "", of: str = "") -> Picture:
    """Return the figure of the causes; hatched ones are not told apart from the likeliest."""
    first = causes[0]
    alike = set(first.not_separable_from or ())
    said = f" Hatched: not told apart from “{cause(first.cause)}” by these data." if alike else ""
    return Picture(
        name=f"causes{tail}",
        title=f"What may be behind it{of}",
        caption="Probability of each cause, given the data and how common it is. Causes may act "
        "together, so that the bars need not add up to 100 %." + said,
        alt="; ".join(f"{cause(c.cause)} {probability(c.probability)}" for c in causes),
        draw=lambda: _draw(causes, alike),
    )


def _draw(causes: Sequence[Node], alike: set[str]) -> Figure:
    figure = new_figure(0.75 + 0.27 * len(causes))
    axes = figure.add_subplot()
    for k, row in enumerate(causes):
        is_alike = row.cause in alike
        axes.barh(
            -k,
            row.probability,
            height=0.66,
            color=GRID if is_alike else AFTER,
            edgecolor=AFTER if is_alike else "none",
            hatch="////" if is_alike else None,
            linewidth=0.8,
        )
        axes.text(
            row.probability + 0.012,
            -k,
            probability(row.probability),
            va="center",
            fontsize=8.5,
            color=SOFT,
        )
    axes.set_yticks([-k for k in range(len(causes))], [cause(c.cause) for c in causes])
    axes.set_xlim(0.0, ROOM_FOR_NUMBER)
    axes.set_xticks([0.0, 0.25, 0.5, 0.75, 1.0])
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="y", length=0)
    percent_axis(axes, axis="x")
    axes.set_xlabel("probability in %")
    return figure
