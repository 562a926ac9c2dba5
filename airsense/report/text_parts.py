"""Pieces of text that several kinds of answer share. Survive 60 columns and a pipe."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from rich.markup import escape
from rich.padding import Padding
from rich.table import Table

from airsense.report.headline import Headline
from airsense.report.node import Node
from airsense.report.words import (
    cause,
    percent,
    percent_range,
    probability,
    say,
    tone,
)

if TYPE_CHECKING:
    from rich.console import Console

    from airsense.results import Interval

_STYLES = {"good": "bold green", "bad": "bold red", "open": "bold yellow"}
MOST_CAUSES = 5


def print_headline(headline: Headline, console: Console) -> None:
    """Print question, verdict, answer, confidence, caveat and next step."""
    title = f"{headline.question} {headline.subject}".rstrip()
    console.print(f"[bold]{escape(title)}[/bold]")
    if headline.verdict:
        style = _STYLES[tone(headline.verdict)]
        console.print(f"[{style}]{escape(headline.badge.upper())}[/{style}]")
    for lead, text in (
        ("", headline.answer),
        ("", headline.confidence),
        ("But: ", headline.caveat),
        ("Next: ", headline.next_step),
    ):
        if text:
            console.print(f"[bold]{lead}[/bold]{escape(text)}" if lead else escape(text))


def plain_table(*titles: str, right: Iterable[str] = ()) -> Table:
    """Return a table without lines; columns named in `right` are flush right."""
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    flush = set(right)
    for title in titles:
        is_number = title in flush
        table.add_column(
            title,
            justify="right" if is_number else "left",
            no_wrap=is_number,
            overflow="fold",
        )
    return table


def changes_table(rows: Iterable[tuple[str, Interval | None]]) -> Table:
    """Return quantity, value and 95 % interval; rows without a value are left out."""
    table = plain_table("", "change", "95 % interval", right=("change", "95 % interval"))
    for label, interval in rows:
        if interval is not None:
            table.add_row(label, percent(interval.value), percent_range(interval))
    return table


def print_routes(estimates: Iterable[Node], console: Console, *, title: str = "change") -> None:
    """Print what each route says, then why routes were left out or stand alone."""
    rows = tuple(estimates)
    table = plain_table("route", title, "95 % interval", "used", right=(title, "95 % interval"))
    for row in rows:
        interval = row.change if row.change is not None else row.sensor_error
        table.add_row(
            escape(say(row.method)),
            "" if interval is None else percent(interval.value),
            "" if interval is None else percent_range(interval),
            "yes" if row.used else "no",
        )
    console.print(table)
    for row in rows:
        if row.reason:
            line = f"{say(row.method)}: {row.reason}"
            console.print(Padding(escape(line), (0, 0, 0, 2), expand=False))


def print_causes(causes: Iterable[Node], console: Console) -> None:
    """Print the likeliest causes, each with its size and its look-alikes."""
    table = plain_table(
        "cause", "probability", "size if at work", right=("probability", "size if at work")
    )
    rows = tuple(causes)[:MOST_CAUSES]
    for row in rows:
        size = "" if row.size is None else percent_range(row.size)
        table.add_row(cause(row.cause), probability(row.probability), size)
    console.print(table)
    if rows and rows[0].not_separable_from:
        alike = ", ".join(cause(name) for name in rows[0].not_separable_from)
        console.print(
            Padding(
                f"{cause(rows[0].cause)}: not told apart from {alike}", (0, 0, 0, 2), expand=False
            )
        )


def print_findings(findings: Iterable[Node], console: Console) -> None:
    """Print findings with place and remedy."""
    for finding in findings:
        place = f" ({finding.where})" if finding.where else ""
        console.print(escape(f"{finding.severity}: {finding.message}{place}; {finding.fix}"))


def print_assumptions(assumptions: Iterable[Node], console: Console) -> None:
    """Print what was assumed, the default uncertainties among it."""
    for item in assumptions:
        console.print(escape(f"assumed: {item.quantity}: {item.value} ({item.source})"))


def print_budget(budget: Iterable[Node], what: str, console: Console) -> None:
    """Print the components of an interval, largest first, as standard uncertainties."""
    parts = ", ".join(f"{part.label} {100.0 * part.u:.2f} %" for part in budget)
    console.print(escape(f"Budget of {what}, k = 1, largest first: {parts}."))


def print_cautions(cautions: Iterable[str], console: Console) -> None:
    """Print the safety words."""
    console.print("")
    for caution in cautions:
        console.print(f"[dim]caution: {escape(caution)}[/dim]")
