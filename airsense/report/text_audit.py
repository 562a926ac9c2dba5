"""The audit as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.markup import escape
from rich.padding import Padding

from airsense.report.headline import headlines
from airsense.report.node import Node, node_of
from airsense.report.text_parts import plain_table, print_cautions, print_headline
from airsense.report.words import number, say

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from airsense.jobs.audit import AuditResult

_HEADINGS = {
    "contradicted": "Contradicted by the printed figures",
    "undetermined": "Open",
    "supported": "Supported",
}
MOST_ASKS = 6


def render(result: AuditResult | Node, console: Console, units: str | None) -> None:
    """Print the claims' verdicts, findings by outcome, what to ask for, and what was assumed.

    Figures stand in the units of the publication or in per cent, so `units` changes nothing.
    """
    node = node_of(result)
    for headline in headlines(node):
        print_headline(headline, console)
        console.print("")
    for outcome, heading in _HEADINGS.items():
        found = [f for f in node.findings if f.outcome == outcome]
        if found:
            console.print(f"[bold]{heading}[/bold]")
        for finding in found:
            _print_finding(finding, console)
    if node.corrections:
        console.print("[bold]Power correction by each text[/bold]")
        console.print(_corrections(node.corrections))
    if node.ask_the_publisher_for:
        console.print("[bold]Ask the publisher for[/bold], most telling first")
    for place, ask in enumerate(node.ask_the_publisher_for[:MOST_ASKS], start=1):
        _indented(f"{place}. {ask.request}: {ask.reason}", console, 2)
    console.print("[bold]Assumed[/bold]")
    for item in node.assumptions:
        _indented(f"{item.quantity}: {item.value} ({item.source})", console, 2)
    print_cautions(node.cautions, console)


def _print_finding(finding: Node, console: Console) -> None:
    _indented(f"{say(finding.check)}, {finding.subject}", console, 2)
    _indented(finding.sentence, console, 4)
    if finding.settle_by and finding.outcome != "supported":
        _indented(f"To settle it: {finding.settle_by}.", console, 4)


def _indented(text: str, console: Console, columns: int) -> None:
    console.print(Padding(escape(text), (0, 0, 0, columns), expand=False))


def _corrections(rows: tuple[Node, ...]) -> Table:
    table = plain_table("configuration", "text", "factor", "allowed here", right=("factor",))
    for row in rows:
        table.add_row(
            escape(row.configuration),
            row.text,
            number(row.factor, 5),
            "yes" if row.in_range else "no",
        )
    return table
