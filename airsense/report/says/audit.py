"""What an audit says: the verdicts, what decides them, what to ask for."""

from __future__ import annotations

from collections.abc import Iterable

from airsense.report.blocks import (
    FULL,
    ONE_SCREEN,
    Block,
    Caution,
    Heading,
    Sentence,
    Table,
    filled,
    table,
)
from airsense.report.figures import pictures_of
from airsense.report.node import Node
from airsense.report.says.shared import as_sentence, inputs, method, part
from airsense.report.tables import interval_text
from airsense.report.units_shown import Shown
from airsense.report.words import (
    NOTHING,
    cause,
    number,
    percent_interval,
    probability,
    say,
    tone,
)
from airsense.results import Interval

# One screen holds no more.
MOST_FINDINGS, MOST_REQUESTS, MOST_CLAIMS, MOST_CAUSES = 3, 3, 6, 3


def blocks(result: Node, shown: Shown) -> tuple[Block, ...]:
    """Return what an audit says, most important first."""
    found: list[Block] = [
        *_verdicts(result),
        *_split(result),
        *_requests(result),
        *_cautions(result),
    ]
    found.append(part("Evidence", "evidence"))
    found += pictures_of(result, shown.system)
    found += _tables(result, shown)
    found += method(result)
    found += inputs(result)
    return filled(found)


def claim_of(verdict: Node) -> str:
    """Return a claim in words: from, to, tune and what is claimed."""
    tune = f", {verdict.tune}" if verdict.tune else ""
    return f"{verdict['from']} to {verdict.to}{tune}: {verdict.claim}"


def _verdicts(result: Node) -> Iterable[Block]:
    """Yield the verdict that matters most in large words, then the other claims and findings."""
    against = [f for f in result.findings if f.outcome == "contradicted"]
    verdicts = sorted(result.verdicts, key=lambda v: _ORDER.index(v.verdict))
    if verdicts:
        subject, word = claim_of(verdicts[0]), verdicts[0].verdict
        why = verdicts[0].sentence
    else:
        subject, word = "the printed figures", "contradicted" if against else "undetermined"
        why = against[0].sentence if against else "Nothing is claimed of them."
    yield part(f"{say(word).capitalize()}: {subject}", "answer", level=ONE_SCREEN)
    yield Heading(text=subject, badge=say(word), tone=tone(word), level=FULL)
    yield Sentence(text=why)
    told = {why}
    for verdict in verdicts[1:MOST_CLAIMS]:
        reason = "For a reason given above." if verdict.sentence in told else verdict.sentence
        told.add(verdict.sentence)
        yield Sentence(
            lead=f"{say(verdict.verdict).capitalize()}:", text=f"{claim_of(verdict)}. {reason}"
        )
    if len(verdicts) > MOST_CLAIMS:
        yield Sentence(text=f"{len(verdicts) - MOST_CLAIMS} more claims with --all.")
    # What the same check finds at another point is the same argument.
    told_by = {f.check for f in against if f.sentence in told}
    others = {f.check: f for f in reversed(against) if f.check not in told_by}
    for finding in [*others.values()][::-1][: MOST_FINDINGS - 1]:
        yield Sentence(lead="Against it:", text=f"{finding.subject}: {finding.sentence}")


_ORDER = ("contradicted", "partly_supported", "supported", "undetermined")


def _split(result: Node) -> Iterable[Block]:
    """Yield what of the printed air is the engine's, for the first intakes that allow it."""
    for row in (result.splits or ())[:1]:
        surplus = row.indicated_surplus
        text = (
            f"{row.subject}: the sensor shows {percent_interval(row.airflow_change_indicated)}, "
            f"the engine breathes {percent_interval(row.airflow_change)}, and "
            f"{percent_interval(surplus)} is in the reading only"
        )
        if surplus.low > 0.0 or surplus.high < 0.0:
            first = row.causes[0]
            text += f"; likeliest: {cause(first.cause)} ({probability(first.probability)})"
        yield Sentence(lead="Of the air,", text=f"{text}.")


def _splits(rows: Iterable[Node]) -> Table:
    numbers = ("the sensor shows", "the engine breathes", "in the reading only")
    return table(
        "Air, split into engine and reading",
        ("intakes", "speeds", *numbers, "likeliest causes"),
        (
            (
                row.subject,
                str(row.speeds),
                percent_interval(row.airflow_change_indicated),
                percent_interval(row.airflow_change),
                percent_interval(row.indicated_surplus),
                "; ".join(
                    f"{cause(c.cause)} {probability(c.probability)}"
                    for c in row.causes[:MOST_CAUSES]
                ),
            )
            for row in rows
        ),
        numbers=("speeds", *numbers),
        note="By the judgement that logs get, over all speeds that are printed of both.",
    )


def _requests(result: Node) -> Iterable[Block]:
    asks = result.ask_the_publisher_for
    words = "; ".join(f"({k}) {ask.request}" for k, ask in enumerate(asks[:MOST_REQUESTS], start=1))
    yield Sentence(lead="Ask the publisher for:", text=words)


def _cautions(result: Node) -> Iterable[Block]:
    """Yield what an audit is no proof of; the words on running engines in the full answer."""
    yield part("Cautions", "cautions")
    for text in result.cautions:
        yield Caution(text=text)


def _tables(result: Node, shown: Shown) -> Iterable[Table]:
    """Yield claims, findings, what to ask for, and the power corrections."""
    yield table(
        "Claims",
        ("claim", "verdict", "change", "why"),
        (
            (claim_of(v), say(v.verdict), percent_interval(v.change), v.sentence)
            for v in result.verdicts
        ),
        numbers=("change",),
        note="Change: at the same weather for power and air.",
    )
    yield table(
        "Checks",
        ("outcome", "check", "subject", "finding", "what would settle it"),
        (
            (f.outcome, say(f.check), f.subject, f.sentence, as_sentence(f.settle_by))
            for f in result.findings
        ),
    )
    yield _splits(result.splits or ())
    yield _figures(result.findings, shown)
    yield table(
        "Ask the publisher for",
        ("request", "why", "worth"),
        ((a.request, a.reason, number(a.worth, 2)) for a in result.ask_the_publisher_for),
        numbers=("worth",),
        note="Worth: open findings that hang on it, weighted; most telling first.",
    )
    yield _corrections(result.corrections)


def _figures(findings: Iterable[Node], shown: Shown) -> Table:
    numbers = ("printed", "sound", "difference")
    return table(
        "Measured and expected",
        ("check", "subject", *numbers),
        (
            (
                say(f.check),
                f.subject,
                _measured(f.measured, f.unit, shown),
                _measured(f.expected, f.unit, shown),
                _measured(f.difference, f.unit, shown),
            )
            for f in findings
            if f.measured is not None or f.expected is not None
        ),
        numbers=numbers,
    )


def _corrections(rows: Iterable[Node]) -> Table:
    numbers = ("factor", "from", "to")
    return table(
        "Power correction by each text",
        ("configuration", "text", *numbers, "allowed here"),
        (
            (
                r.configuration,
                r.text,
                number(r.factor, 5),
                number(r.low, 5),
                number(r.high, 5),
                "yes" if r.in_range else "no",
            )
            for r in rows
        ),
        numbers=numbers,
        note="From and to: what the print leaves open.",
    )


def _measured(interval: Interval | None, unit: str, shown: Shown) -> str:
    if interval is None:
        return NOTHING
    if unit == "fraction":
        return percent_interval(interval)
    if unit == "1":
        return f"{number(interval.value)} ({number(interval.low)} to {number(interval.high)})"
    return interval_text(interval, unit, shown, 3)
