"""What a comparison says."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from airsense.report.blocks import FULL, Block, Heading, Sentence, Table, filled, table
from airsense.report.figures import pictures_of
from airsense.report.node import Node
from airsense.report.says.pair import (
    answer,
    configuration,
    evidence,
    power_table,
)
from airsense.report.says.shared import (
    MOST_NAMED,
    about_logs,
    as_sentence,
    cautions,
    inputs,
    laws_table,
    logs_used,
    method,
    next_measurement,
    part,
    unrecognised,
    worst_finding,
)
from airsense.report.tables import interval_text
from airsense.report.units_shown import Shown
from airsense.report.words import (
    BRIEF,
    NOTHING,
    number,
    percent,
    percent_interval,
    percent_range,
    probability,
    say,
)
from airsense.results import Interval

QUESTIONS = {"intake": "Was it the intake?", "tune": "Did the tune bring more air?"}
# The answers beside: with the logs that were left out, or without those that were not.
BESIDE = ("with_odd_logs", "without_odd_logs")
GAINS = ("gain_supported", "partly_supported", "tune_gain_supported")
_COSTS = ("free", "cheap", "dear")


def question(result: Node) -> str:
    """Return the question that a comparison answers."""
    asked = {pair.question for pair in result.pairs}
    return " ".join(QUESTIONS[name] for name in QUESTIONS if name in asked)


def blocks(result: Node, shown: Shown) -> tuple[Block, ...]:
    """Return what a comparison says, most important first."""
    found: list[Block] = [part(question(result), "answer")]
    found += first_screen(result)
    found += cautions(result)
    found.append(part("Evidence", "evidence"))
    found += pictures_of(result, shown.system)
    found += _places(result, shown)
    for pair in result.pairs:
        found += evidence(pair, result, shown)
    found += about_logs(result.logs)
    found += _window(result)
    found += method(result)
    found += inputs(result)
    return filled(found)


def first_screen(result: Node) -> Iterable[Block]:
    """Yield what one screen shows, but for the cautions."""
    many = len(result.pairs) > 1
    if many:
        baselines = dict.fromkeys(pair.baseline for pair in result.pairs)
        yield Heading(text=f"Each intake and tune against {' or '.join(baselines)}")
        yield Sentence(text=_which(result.pairs))
        yield campaign_table(result)
    for pair in result.pairs:
        yield from answer(pair, level=FULL if many else 0)
    yield from logs_used(result.logs)
    for row in result.findings:
        if row.code in BESIDE:
            yield Sentence(text=as_sentence(row.message), level=FULL if many else 0)
    yield from unrecognised(result.findings)
    steps = {pair.next_measurement.key: pair.next_measurement for pair in result.pairs}
    yield from next_measurement(sorted(steps.values(), key=lambda s: _COSTS.index(s.cost)))
    yield worst_finding(result.findings)


def _which(pairs: Sequence[Node]) -> str:
    """Return which intakes, or tunes, are shown to give more air."""
    gave = [configuration(p) for p in pairs if p.verdict in GAINS]
    if not gave:
        return "None of them is shown to give more air."
    more = f" and {len(gave) - MOST_NAMED} more" if len(gave) > MOST_NAMED else ""
    return f"Shown to give more air: {'; '.join(gave[:MOST_NAMED])}{more}."


def campaign_table(result: Node) -> Table:
    """Return intake by tune: what was shown, what is real, and what of it is the intake's."""
    prices = {(row.intake, row.tune): row for row in result.price_per_kw}
    middles = {
        "shown": "airflow_change_indicated",
        "real": "airflow_change",
        "reading": "indicated_surplus",
        "power": "brake_power_change",
    }
    numbers = ("intake's part", *middles, "price/kW")
    return table(
        "All configurations",
        ("intake, tune (in %)", "verdict", *numbers),
        (
            (
                configuration(p),
                BRIEF.get(p.verdict, say(p.verdict)),
                percent_range(p.airflow_change_intake).removesuffix(" %"),
                *(_middle(p[key]) for key in middles.values()),
                _price(prices.get((p.intake, p.tune))),
            )
            for p in result.pairs
        ),
        numbers=numbers,
        level=0,
    )


def _middle(interval: Interval | None) -> str:
    return NOTHING if interval is None else percent(interval.value).removesuffix(" %")


def _price(row: Node | None) -> str:
    if row is None or row.price_per_kw is None:
        return NOTHING
    return number(row.price_per_kw.value)


def _places(result: Node, shown: Shown) -> Iterable[Block]:
    """Yield ranking, prices and what else holds for all pairs."""
    yield table(
        "Places",
        ("tune", "place", "intake", "probability of being best", "mean place", "change of air"),
        (
            (
                r.tune,
                str(r.place),
                r.intake,
                probability(r.probability_best),
                number(r.mean_place, 2),
                percent_interval(r.airflow_change),
            )
            for r in result.ranking
        ),
        numbers=("place", "probability of being best", "mean place", "change of air"),
    )
    yield _prices_table(result.price_per_kw, shown)
    yield laws_table(result.boost_control)
    yield power_table(result.power_corrections)


def _prices_table(rows: Sequence[Node], shown: Shown) -> Table:
    numbers = ("price", "power gained", "price a kW", "at least")
    return table(
        "Price of a kilowatt gained",
        ("tune", "intake", *numbers, "note"),
        (
            (
                r.tune,
                r.intake,
                number(r.price, 4),
                interval_text(r.brake_power_gain_w, "W", shown, 3),
                NOTHING
                if r.price_per_kw is None
                else f"{number(r.price_per_kw.value)} ({number(r.price_per_kw.low)} to "
                f"{number(r.price_per_kw.high)})",
                number(r.at_least),
                r.note,
            )
            for r in rows
        ),
        numbers=numbers,
        note="In the currency of the campaign file.",
    )


def _window(result: Node) -> Iterable[Block]:
    window = result.window
    low, high = window.engine_speed_rpm
    yield Sentence(
        lead="Window:",
        text=f"{result.engine or 'engine'}, {low:.0f} to {high:.0f} rpm in {window.bins} bins, "
        f"{window.kind}; a change inside {percent(result.margin, 2, sign=False)} does not matter "
        "(margin).",
        level=FULL,
    )
