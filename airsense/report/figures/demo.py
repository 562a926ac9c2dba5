"""Figures of the demo: those of its comparison and of its table."""

from __future__ import annotations

from airsense.report.figure import Picture
from airsense.report.figures import compare, rescale
from airsense.report.node import Node
from airsense.report.units_shown import Shown


def pictures(result: Node, shown: Shown) -> tuple[Picture, ...]:
    """Return the figures of the demo."""
    return (
        *compare.pictures(result.compare, shown),
        *rescale.pictures(result.rescale, shown),
    )
