"""Blocks that several kinds of result share."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import PurePath

from airsense.report.blocks import (
    FULL,
    ONE_SCREEN,
    PART,
    Block,
    Caution,
    Heading,
    Sentence,
    Table,
    filled,
    table,
)
from airsense.report.equations import equations_for
from airsense.report.figures import pictures_of
from airsense.report.node import Node
from airsense.report.tables import (
    assumptions_table,
    findings_table,
    inputs_table,
)
from airsense.report.units_shown import Shown
from airsense.report.words import (
    NOTHING,
    cause,
    number,
    percent,
    probability,
    say,
)

# One line holds no more.
MOST_NAMED = 3
SEVERITIES = ("error", "warning")


def part(text: str, name: str, *, level: int = FULL) -> Heading:
    """Return the heading of a part of the page."""
    return Heading(text=text, rank=PART, name=name, level=level)


def laid_out(
    result: Node,
    shown: Shown,
    answer: Sequence[Block],
    tables: Sequence[Table],
    *,
    of_method: Sequence[Table] = (),
) -> tuple[Block, ...]:
    """Return a whole result: its answer with the first table, cautions, then what it rests on."""
    main, *others = tables
    return filled(
        (
            *answer,
            replace(main, level=ONE_SCREEN),
            *cautions(result),
            part("Evidence", "evidence"),
            *pictures_of(result, shown.system),
            *others,
            *method(result),
            *of_method,
            *inputs(result),
        )
    )


def answered(
    question: str,
    answer: str,
    *,
    keys: Iterable[tuple[str, str, str]],
    but: str,
    measure_next: str,
) -> tuple[Block, ...]:
    """Return question, answer, key figures (label, value, range), caveat and what to do next."""
    titles = ("key figure", "value", "range")
    return (
        part(question, "answer", level=ONE_SCREEN),
        Sentence(text=answer),
        table("Key figures", titles, keys, numbers=titles[1:]),
        Sentence(lead="But:", text=but),
        Sentence(lead="Measure next:", text=measure_next),
    )


def cautions(result: Node) -> Iterable[Block]:
    """Yield the safety words."""
    yield part("Cautions", "cautions")
    for text in result.cautions or ():
        yield Caution(text=text)


def as_sentence(text: str) -> str:
    """Return a text with a capital letter and one full stop."""
    text = text.strip()
    return (text[:1].upper() + text[1:]).rstrip(".") + "." if text else ""


def next_measurement(steps: Iterable[Node]) -> Iterable[Block]:
    """Yield how to measure next and what it costs; the lines to paste only in full."""
    for k, step in enumerate(steps):
        yield Sentence(
            lead=f"Measure next ({say(step.cost)}):",
            text=f"{as_sentence(step.measurement)} {as_sentence(step.reason)}",
            level=FULL if k else 0,
        )
        yield Sentence(
            lead="Fill in and paste into the setup:", text=step.toml, literal=True, level=FULL
        )


def logs_used(logs: tuple[Node, ...]) -> Iterable[Block]:
    """Yield which logs were used, which not and why, and which stand out."""
    used = sum(log.used for log in logs)
    left = [log for log in logs if not log.used]
    odd = [log for log in logs if log.odd and log.used]
    text = f"{used} of {len(logs)} used."
    for lead, rows, why in (("Not used", left, "reason"), ("Odd", odd, "odd_reason")):
        if rows:
            named = "; ".join(f"{short(row.path)} ({row[why]})" for row in rows[:MOST_NAMED])
            more = f"; and {len(rows) - MOST_NAMED} more" if len(rows) > MOST_NAMED else ""
            text += f" {lead}: {named}{more}."
    yield Sentence(lead="Logs:", text=text)


def unrecognised(findings: Iterable[Node]) -> Iterable[Block]:
    """Yield the columns that look useful, with the lines to paste."""
    for fix in dict.fromkeys(f.fix for f in findings if f.code == "looks_like"):
        told, _, lines = fix.partition("\n")
        yield Sentence(lead=f"Columns: some were not recognised; {told}", text=lines, literal=True)


def short(path: str) -> str:
    """Return the name of a file without its folders."""
    return PurePath(re.sub(r"\\", "/", path)).name or path


def worst_finding(findings: Iterable[Node]) -> Sentence:
    """Return the first error of the findings, with how many more there are to read."""
    rows = findings_table(f for f in findings if f.severity != "info").rows
    errors = [row for row in rows if row[0] == "error"]
    if not errors:
        more = f"{len(rows)} remarks on the data" if len(rows) > 1 else "one remark on the data"
        return Sentence(lead="Also:", text=f"{more}, in the full answer." if rows else "")
    _, message, where, fix = errors[0]
    place = f" ({where})" if where else ""
    return Sentence(lead="Mind:", text=f"{as_sentence(message)[:-1]}{place}: {fix}.")


def caveat_of(findings: Iterable[Node]) -> str:
    """Return the first error, else the first warning, with its place; empty without any."""
    told = [f for severity in SEVERITIES for f in findings if f.severity == severity]
    if not told:
        return ""
    place = f" ({told[0].where})" if told[0].where else ""
    return f"{as_sentence(told[0].message)[:-1]}{place}."


def about_logs(logs: tuple[Node, ...]) -> Iterable[Block]:
    """Yield what became of each log and its weather."""
    yield Heading(text="The logs", level=FULL)
    yield segments_table(logs)
    yield weather_table(logs)


def segments_table(logs: Iterable[Node]) -> Table:
    """Return every stretch of every log, used or not, with the reason."""
    numbers = ("from, s", "to, s")
    return table(
        "What became of each log",
        ("log", "side", "stretch", *numbers, "used", "why"),
        (
            (
                short(log.path),
                log.role,
                say(s.kind),
                number(s.start_s, 4),
                number(s.stop_s, 4),
                "yes" if s.used else "no",
                s.reason,
            )
            for log in logs
            for s in log.segments
        ),
        numbers=numbers,
    )


def weather_table(logs: Iterable[Node]) -> Table:
    """Return the weather that was taken for each log, and where from."""
    numbers = ("barometer, kPa", "air, °C", "relative humidity")
    return table(
        "Weather",
        ("log", *numbers, "taken from"),
        (
            (
                short(log.path),
                number(w.barometric_pressure_kpa, 4),
                number(w.ambient_temperature_c, 3),
                percent(w.relative_humidity, 0, sign=False),
                w.source,
            )
            for log in logs
            for w in (log.weather,)
        ),
        numbers=numbers,
    )


def priors_table(rows: Iterable[Node]) -> Table:
    """Return the prior table that was used."""
    return table(
        "What was taken as likely before the data were seen (priors)",
        ("cause", "probability", "size (k = 1)", "unit", "source"),
        (
            (cause(r.cause), probability(r.probability), number(r.size, 2), r.unit, r.source)
            for r in rows
        ),
        numbers=("probability", "size (k = 1)"),
    )


def laws_table(rows: Iterable[Node]) -> Table:
    """Return the laws of boost control that were weighed, and on whose word."""
    told = tuple(rows)
    return table(
        "How the boost is controlled",
        ("law", "probability"),
        ((say(r.law), probability(r.probability)) for r in told),
        numbers=("probability",),
        note="; ".join(dict.fromkeys(r.source for r in told)),
    )


def free_evidence_table(rows: Iterable[Node]) -> Table:
    """Return the moments in which a sensor's right reading is known."""
    return table(
        "Moments in which the right reading is known",
        ("moment", "found", "what they showed"),
        ((say(r.kind), str(r.found) if r.found else NOTHING, r.sentence) for r in rows),
        numbers=("found",),
    )


def method(result: Node) -> Iterable[Block]:
    """Yield what the result rests on beside the data."""
    yield part("Method", "method")
    if "priors" in result:
        yield priors_table(result.priors or ())
    if "assumptions" in result:
        yield assumptions_table(result.assumptions or ())
    for e in equations_for(result.result_kind):
        yield Sentence(lead=f"{e['name']}:", text=f"{e['text']} ({e['source']}).", level=FULL)


def inputs(result: Node) -> Iterable[Block]:
    """Yield what was seen in the data, and the files themselves."""
    yield part("Inputs", "inputs")
    # The findings of an audit are its evidence.
    if "findings" in result and result.result_kind != "audit":
        yield findings_table(result.findings or ())
    if "inputs" in result:
        yield inputs_table(result.inputs or ())
