"""The comparison as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.markup import escape

from airsense.report.headline import headlines
from airsense.report.node import Node, node_of
from airsense.report.text_parts import (
    changes_table,
    plain_table,
    print_assumptions,
    print_budget,
    print_causes,
    print_cautions,
    print_findings,
    print_headline,
    print_routes,
)
from airsense.report.words import number, percent, percent_range, probability

if TYPE_CHECKING:
    from rich.console import Console

    from airsense.jobs.compare import CompareResult


def render(result: CompareResult | Node, console: Console, units: str | None) -> None:
    """Print answer, changes, routes, causes and the change by speed of each pair.

    Everything is a ratio, so `units` changes nothing.
    """
    node = node_of(result)
    for pair, headline in zip(node.pairs, headlines(node), strict=True):
        print_headline(headline, console)
        console.print("")
        _print_pair(pair, console)
        console.print("")
    _print_campaign(node, console)
    low, high = node.window.engine_speed_rpm
    console.print(
        f"Means over {node.window.bins} bins of {low:.0f} to {high:.0f} rpm, {node.window.kind}."
    )
    print_findings(node.findings, console)
    print_assumptions(node.assumptions, console)
    print_cautions(node.cautions, console)


def _print_pair(pair: Node, console: Console) -> None:
    console.print(
        changes_table(
            (
                ("air flow as indicated", pair.airflow_change_indicated),
                ("air flow of the engine", pair.airflow_change),
                ("sensor's reading (skew)", pair.sensor_skew),
                ("brake power", pair.brake_power_change),
                ("fuel", pair.fuel_change),
            )
        )
    )
    if pair.attribution is not None and pair.attribution.note:
        console.print(escape(f"Note: {pair.attribution.note}."))
    console.print("")
    print_routes(pair.estimates, console)
    console.print("")
    print_causes(pair.causes, console)
    if pair.spool_up is not None:
        console.print("")
        console.print(f"[bold]Boost after a load step[/bold]: {escape(pair.spool_up.sentence)}")
    console.print("")
    _print_by_speed(pair.by_speed, console)
    print_budget(pair.budget, "the skew", console)
    if pair.equivalent_bore is not None:
        console.print(escape(pair.equivalent_bore.sentence))


def _print_campaign(node: Node, console: Console) -> None:
    if node.ranking:
        titles = ("place", "probability of being best", "engine's air")
        table = plain_table("tune", "intake", *titles, right=titles[:1])
        for row in node.ranking:
            table.add_row(
                escape(row.tune),
                escape(row.intake),
                str(row.place),
                probability(row.probability_best),
                percent_range(row.airflow_change),
            )
        console.print(table)
    for row in node.price_per_kw or ():
        console.print(escape(f"{row.intake}, {row.tune}: {_price(row)}"))


def _price(row: Node) -> str:
    price = row.price_per_kw
    if price is not None:
        cost = f"{number(price.value)} ({number(price.low)} to {number(price.high)})"
    elif row.at_least is not None:
        cost = f"at least {number(row.at_least)}"
    else:
        return str(row.note)
    return f"a kilowatt gained costs {cost}" + (f"; {row.note}" if row.note else "")


def _print_by_speed(rows: tuple[Node, ...], console: Console) -> None:
    titles = ("rpm", "indicated", "engine, 95 %", "skew, 95 %")
    table = plain_table(*titles, right=titles)
    for row in rows:
        table.add_row(
            f"{row.engine_speed_rpm:.0f}",
            percent(row.airflow_change_indicated),
            percent_range(row.airflow_change),
            percent_range(row.sensor_skew),
        )
    console.print(table)
