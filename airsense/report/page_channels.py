"""What the page of a log's channels shows."""

from __future__ import annotations

from airsense.report.node import Node
from airsense.report.page_parts import (
    KeyFigure,
    Table,
    channels_table,
    table,
)
from airsense.report.units_shown import Shown


def keys(result: Node) -> tuple[tuple[KeyFigure, ...], ...]:
    """Return no key figures."""
    return ((),)


def evidence(result: Node, shown: Shown) -> tuple[Table, ...]:
    """Return what was recognised in a log, and what was not."""
    return (
        channels_table(result.channels),
        table("Columns ignored", ("header",), ((name,) for name in result.ignored or ())),
    )


def method(result: Node) -> tuple[Table, ...]:
    """Return no tables of its own."""
    return ()
