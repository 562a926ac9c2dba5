"""What a comparison says of one pair of configurations."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from airsense.report.blocks import FULL, Block, Heading, Sentence, Table, table
from airsense.report.node import Node
from airsense.report.says.shared import free_evidence_table, laws_table
from airsense.report.tables import (
    budget_table,
    causes_table,
    interval_text,
    quantity,
    routes_table,
)
from airsense.report.units_shown import Shown
from airsense.report.words import (
    NOTHING,
    POWER_PLACES,
    READING_CAUSES,
    READING_VERDICTS,
    number,
    percent,
    percent_interval,
    percent_range,
    probability,
    quantity_name,
    say,
    tone,
)
from airsense.results import Interval

NOT_LOOKED_AT = "not looked at"
NO_FULL_LOAD = f"{NOT_LOOKED_AT}: no matched full load"
NO_MATCH = "no common state"
NOT_LOGGED = "not logged"
PARTS = (
    ("weather", "airflow_change_weather"),
    ("the intake", "airflow_change_intake"),
    ("boost demand", "airflow_change_demand"),
    ("added fuelling", "airflow_change_feedback"),
    ("demand and fuelling together", "demand_feedback_joint"),
)


# On one intake nothing but the day and the tune changes the air.
PARTS_OF_TUNE = (PARTS[0], ("the second tune", "airflow_change_tune"))


def parts_of(pair: Node) -> tuple[tuple[str, str], ...]:
    """Return what the engine's change is made of, label and key."""
    return PARTS if pair.airflow_change_tune is None else PARTS_OF_TUNE


def configuration(pair: Node) -> str:
    """Return the name of the changed configuration of a pair."""
    return f"{pair.intake}, {pair.tune}" if pair.tune else str(pair.intake)


def verdict_words(pair: Node) -> str:
    """Return the verdict of a pair in a workshop's words."""
    softer = READING_VERDICTS if pair.airflow_change is None else {}
    return softer.get(pair.verdict, say(pair.verdict))


def answer(pair: Node, *, level: int) -> Iterable[Block]:
    """Yield what a customer is shown: verdict, sentence and the few numbers."""
    yield Heading(
        text=f"{configuration(pair)} against {pair.baseline}",
        badge=verdict_words(pair),
        tone=tone(pair.verdict),
        level=level,
    )
    yield Sentence(text=pair.sentence, level=level)
    yield changes(pair, level=level)


def changes(pair: Node, *, level: int) -> Table:
    """Return the indicated change and what it is made of."""
    numbers = ("change", "95 % range")
    unmatched = pair.airflow_change is None
    parts = () if unmatched else parts_of(pair)
    rows = [
        ("what the sensor shows", "airflow_change_indicated", NOT_LOOKED_AT),
        ("what the engine breathes", "airflow_change", NOT_LOOKED_AT),
        *((f"   of it {label}", key, "") for label, key in parts if pair[key] is not None),
        ("what is in the reading only", "indicated_surplus", NO_MATCH),
        (
            POWER_PLACES.get(pair.power_place, "power"),
            "brake_power_change",
            NOT_LOOKED_AT if unmatched else NOT_LOGGED,
        ),
        ("fuel", "fuel_change", NOT_LOGGED),
    ]
    return table(
        "The change and its parts",
        ("of air, power and fuel", *numbers),
        (
            (label, NOTHING, why)
            if pair[key] is None
            else (label, percent(pair[key].value), percent_range(pair[key]))
            for label, key, why in rows
        ),
        numbers=numbers,
        note=NO_FULL_LOAD if unmatched else "",
        level=level,
    )


def evidence(pair: Node, result: Node, shown: Shown) -> Iterable[Block]:
    """Yield all that stands behind the answer of a pair."""
    yield Heading(text=f"Behind it: {configuration(pair)}", level=FULL)
    for text in dict.fromkeys(pair.sentences):
        if text not in pair.sentence:
            yield Sentence(text=text, level=FULL)
    yield Sentence(lead="Cause:", text=f"{READING_CAUSES[pair.reading_cause]}.", level=FULL)
    yield _more_changes(pair)
    figures = {"engine's air by it": "change", "reading over it": "surplus"}
    yield routes_table(pair.estimates, figures)
    yield free_evidence_table(pair.free_evidence)
    yield causes_table(pair.causes)
    yield _speed_table(pair.by_speed)
    if not result.boost_control:
        yield laws_table(pair.boost_control)
    if not result.power_corrections:
        yield power_table(pair.power_corrections)
    if pair.equivalent_bore is not None:
        yield _bore_table(pair.equivalent_bore, shown)
    if pair.spool_up is not None:
        yield from _spool_tables(pair.spool_up, shown)
    yield budget_table(pair.budget, of="what is in the reading only")
    yield table(
        "The same data under other priors",
        ("priors", "verdict", "in the reading only"),
        (
            (r.what, say(r.verdict), percent_interval(r.indicated_surplus))
            for r in pair.prior_sensitivity
        ),
        numbers=("in the reading only",),
        note="What would be answered if causes were likelier or rarer, larger or smaller than the "
        "priors of this result say.",
    )


def _more_changes(pair: Node) -> Table:
    rows = [
        (label, percent_interval(value))
        for label, value in (
            ("the sensor's own reading (leaks apart)", pair.sensor_skew),
            ("manifold pressure", pair.manifold_pressure_change),
            ("most that less restriction can give", pair.intake_ceiling),
        )
        if value is not None
    ]
    rows += [
        (f"probability that {label}", probability(value))
        for label, value in (
            ("the engine breathes more", pair.probability_of_gain),
            ("the intake gives more", pair.probability_of_intake_gain),
            ("the reading is higher than the air", pair.probability_of_over_reading),
            ("routes differ as much by chance", pair.routes_agree_probability),
        )
        if value is not None
    ]
    return table("More figures", ("what", "value"), rows, numbers=("value",))


def _speed_table(rows: Sequence[Node]) -> Table:
    columns = ("rpm", "shown", "engine's air", "in the reading only", "sensor", "samples")
    return table(
        "By engine speed",
        columns,
        (
            (
                number(r.engine_speed_rpm, 4),
                percent(r.airflow_change_indicated),
                percent_interval(r.airflow_change),
                percent_interval(r.indicated_surplus),
                percent_interval(r.sensor_skew),
                str(r.samples),
            )
            for r in rows
        ),
        numbers=columns,
        note="Each range holds what all speeds share; in brackets the 95 % interval.",
    )


def power_table(rows: Iterable[Node]) -> Table:
    """Return power as measured and as named texts would correct it."""
    numbers = ("factor before", "factor after", "change")
    return table(
        "Power, as measured and corrected",
        ("by", *numbers, "inside its window", "note"),
        (
            (
                r.text,
                number(r.factor_before, 4),
                number(r.factor_after, 4),
                percent_interval(r.change),
                "yes" if r.in_range else "no",
                r.note or "",
            )
            for r in rows
        ),
        numbers=numbers,
    )


def _bore_table(bore: Node, shown: Shown) -> Table:
    return table(
        "Bores",
        ("what", "value"),
        (
            ("bore before", quantity(bore.before_m, "m", shown)),
            ("bore that would read so", interval_text(bore.equivalent_m, "m", shown)),
        ),
        numbers=("value",),
        note=bore.sentence,
    )


def _spool_tables(spool: Node, shown: Shown) -> Iterable[Table]:
    numbers = ("before, s", "after, s", "difference, s", "95 % interval, s")
    yield table(
        "Build-up of boost after a load step",
        ("share of the rise", "measured against", *numbers, "verdict"),
        (
            (
                percent(t.share_of_rise, 0, sign=False),
                say(t.rise),
                number(t.before_s.value),
                number(t.after_s.value),
                number(t.difference_s.value),
                _seconds(t.difference_s),
                say(t.verdict),
            )
            for t in spool.times
        ),
        numbers=numbers,
        note=f"{spool.sentence} Repeats: {spool.repeats_before} and {spool.repeats_after}.",
    )
    yield table(
        "At fixed times after the step",
        ("quantity", "route", "time, s", "before", "after", "change", "verdict"),
        (
            (
                quantity_name(r.quantity),
                say(r.method),
                number(r.time_s, 2),
                quantity(r.before, _canonical(r.quantity), shown),
                quantity(r.after, _canonical(r.quantity), shown),
                percent_interval(r.change),
                say(r.verdict),
            )
            for r in spool.levels
        ),
        numbers=("time, s", "before", "after", "change"),
    )


def _canonical(name: str) -> str:
    return "W" if "power" in name else "kg/s"


def _seconds(interval: Interval) -> str:
    return f"{number(interval.low)} to {number(interval.high)}"
