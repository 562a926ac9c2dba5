"""A result that was read back from a file, as text: the answer, without the evidence."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from airsense.report.headline import headlines
from airsense.report.node import Node, node_of
from airsense.report.text_parts import print_cautions, print_findings, print_headline

if TYPE_CHECKING:
    from rich.console import Console


def render(result: dict[str, Any] | Node, console: Console, units: str | None) -> None:
    """Print the headlines, the findings on the data and the cautions."""
    node = node_of(result)
    for headline in headlines(node):
        print_headline(headline, console)
        console.print("")
    print_findings((f for f in node.findings or () if f.severity is not None), console)
    print_cautions(node.cautions or (), console)
