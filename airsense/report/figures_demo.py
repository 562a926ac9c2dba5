"""Figures of the demo: those of its comparison and of its table."""

from __future__ import annotations

from airsense.report import figures_compare, figures_rescale
from airsense.report.figure import Picture
from airsense.report.node import Node
from airsense.report.units_shown import Shown


def pictures(result: Node, shown: Shown) -> tuple[Picture, ...]:
    """Return the figures of the demo."""
    return (
        *figures_compare.pictures(result.compare, shown),
        *figures_rescale.pictures(result.rescale, shown),
    )
