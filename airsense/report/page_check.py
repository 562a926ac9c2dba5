"""What the page of the check of one configuration shows beside figures."""

from __future__ import annotations

from airsense.report.node import Node
from airsense.report.page_parts import (
    KeyFigure,
    Table,
    budget_table,
    causes_table,
    channels_table,
    key_change,
    routes_table,
    table,
)
from airsense.report.units_shown import Shown
from airsense.report.words import (
    number,
    percent,
    percent_range,
)


def keys(result: Node) -> tuple[tuple[KeyFigure, ...], ...]:
    """Return the key figure of a check."""
    key = key_change("sensor's error", result.sensor_error)
    return ((key,) if key is not None else (),)


def evidence(result: Node, shown: Shown) -> tuple[Table, ...]:
    """Return the tables of a check."""
    columns = ("engine speed, rpm", "sensor error", "95 % interval", "samples")
    by_speed = table(
        "By engine speed",
        columns,
        (
            (
                number(r.engine_speed_rpm, 4),
                percent(r.sensor_error.value),
                percent_range(r.sensor_error),
                str(r.samples),
            )
            for r in result.by_speed
        ),
        numbers=columns,
    )
    return (
        routes_table(result.estimates, "sensor error"),
        by_speed,
        causes_table(result.causes),
        channels_table(result.channels),
    )


def method(result: Node) -> tuple[Table, ...]:
    """Return the budget of a check."""
    return (budget_table(result.budget, of="the sensor's error"),)
