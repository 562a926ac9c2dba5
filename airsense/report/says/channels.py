"""What was recognised in a log."""

from __future__ import annotations

from airsense.report.blocks import ONE_SCREEN, Block, Heading, Sentence, Table, filled, table
from airsense.report.node import Node
from airsense.report.says.shared import part
from airsense.report.units_shown import Shown
from airsense.report.words import number


def blocks(result: Node, shown: Shown) -> tuple[Block, ...]:
    """Return the channels, what is ignored, findings with remedies; without a log what is known."""
    if not result.log:
        return filled([_known(result)])
    started = f", started {result.started}" if result.started else ""
    read = f"Read as {result.reader}, {number(result.duration_s, 4)} s{started}."
    found: list[Block] = [
        part("What was recognised in the log?", "answer"),
        Heading(text=result.log),
        Sentence(text=read if result.channels else f"{read} No channel was recognised."),
        table(
            "Channels recognised",
            ("header", "channel", "rate", "range"),
            (_cells(row) for row in result.channels),
            numbers=("rate", "range"),
            level=ONE_SCREEN,
        ),
        Sentence(lead="ignored:", text=", ".join(result.ignored)),
    ]
    for f in result.findings:
        place = f" ({f.where})" if f.where else ""
        found.append(Sentence(lead=f"{f.severity}:", text=f"{f.message}{place}; {f.fix}"))
    found += (
        table(
            "What told a channel, and its smallest step",
            ("header", "recognised by", "step"),
            (
                (row.header, row.recognised_by, number(row.resolution_read, 2))
                for row in result.channels
            ),
            numbers=("step",),
        ),
        _known(result),
    )
    return filled(found)


def _known(result: Node) -> Table:
    return table(
        "What can be recognised",
        ("channel", "unit", "for example"),
        ((k.name, k.unit or "-", ", ".join(k.names)) for k in result.known or ()),
    )


def _cells(row: Node) -> tuple[str, ...]:
    return (
        row.header,
        row.name,
        f"{number(row.rate_hz)} Hz" if row.samples > 1 else "one sample",
        f"{number(row.low_read, 4)} to {number(row.high_read, 4)} {row.unit_read}",
    )
