"""The check of one configuration as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from airsense.report.headline import headlines
from airsense.report.node import Node, node_of
from airsense.report.text_parts import (
    plain_table,
    print_assumptions,
    print_budget,
    print_causes,
    print_cautions,
    print_findings,
    print_headline,
    print_routes,
)
from airsense.report.words import percent, percent_range

if TYPE_CHECKING:
    from rich.console import Console

    from airsense.jobs.check import CheckResult


def render(result: CheckResult | Node, console: Console, units: str | None) -> None:
    """Print answer, routes, causes and the sensor's error by speed.

    Everything is a ratio, so `units` changes nothing.
    """
    node = node_of(result)
    for headline in headlines(node):
        print_headline(headline, console)
    console.print("")
    print_routes(node.estimates, console, title="sensor error")
    console.print("")
    print_causes(node.causes, console)
    console.print("")
    titles = ("rpm", "sensor error", "95 % interval", "samples")
    table = plain_table(*titles, right=titles)
    for row in node.by_speed:
        table.add_row(
            f"{row.engine_speed_rpm:.0f}",
            percent(row.sensor_error.value),
            percent_range(row.sensor_error),
            str(row.samples),
        )
    console.print(table)
    print_budget(node.budget, "the sensor error", console)
    print_findings(node.findings, console)
    print_assumptions(node.assumptions, console)
    print_cautions(node.cautions, console)
