"""What the demo says: its three answers, held against the truth that the simulator knows."""

from __future__ import annotations

from airsense.report.blocks import Block, Heading, Sentence, filled, table
from airsense.report.figures import pictures_of
from airsense.report.node import Node
from airsense.report.says import audit, compare, rescale
from airsense.report.says.pair import answer, evidence
from airsense.report.says.shared import about_logs, cautions, inputs, method, part
from airsense.report.units_shown import Shown
from airsense.report.words import percent, quantity_name, say, tone


def blocks(result: Node, shown: Shown) -> tuple[Block, ...]:
    """Return what the demo says, most important first."""
    found: list[Block] = [part(compare.question(result.compare), "answer")]
    found.append(
        Sentence(
            text=f"An invented engine with invented figures, written to {result.folder}.",
        )
    )
    for pair in result.compare.pairs:
        found += answer(pair, level=0)
    found += _headed("rescale", rescale.QUESTION, result.rescale.decision, result.rescale.sentence)
    for verdict in result.audit.verdicts:
        found += _headed("audit", audit.claim_of(verdict), verdict.verdict, verdict.sentence)
    found.append(_truth_table(result))
    found += cautions(result)
    found.append(part("Evidence", "evidence"))
    found += pictures_of(result, shown.system)
    for pair in result.compare.pairs:
        found += evidence(pair, result.compare, shown)
    found += about_logs(result.compare.logs)
    found += method(result.compare)
    found += inputs(result.compare)
    return filled(found)


def _headed(command: str, subject: str, word: str, sentence: str) -> tuple[Block, ...]:
    """Return the answer of one more command."""
    heading = Heading(text=f"airsense {command}: {subject}", badge=say(word), tone=tone(word))
    return heading, Sentence(text=sentence)


def _truth_table(result: Node) -> Block:
    numbers = ("truth", "from", "to")
    return table(
        "What the simulator knows",
        ("quantity", *numbers, "inside the range"),
        (
            (
                quantity_name(row.quantity),
                percent(row.truth),
                percent(row.low),
                percent(row.high),
                "yes" if row.inside else "no",
            )
            for row in result.truth
        ),
        numbers=numbers,
        level=0,
    )
