"""What the page of a comparison shows beside figures."""

from __future__ import annotations

from collections.abc import Iterable

from airsense.report.campaign_tables import campaign_table, prices_table, ranking_table
from airsense.report.headline import configuration
from airsense.report.node import Node
from airsense.report.page_parts import (
    KeyFigure,
    Table,
    budget_table,
    causes_table,
    changes_table,
    interval_text,
    key_change,
    quantity,
    routes_table,
    table,
)
from airsense.report.units_shown import Shown
from airsense.report.words import (
    number,
    percent,
    percent_interval,
    percent_range,
    probability,
    quantity_name,
    say,
)
from airsense.results import Interval


def keys(result: Node) -> tuple[tuple[KeyFigure, ...], ...]:
    """Return the key figures of each pair."""
    return tuple(
        _present(
            key_change("air flow as indicated", pair.airflow_change_indicated),
            key_change("air flow of the engine", pair.airflow_change),
            key_change("sensor's reading", pair.sensor_skew),
            key_change("brake power", pair.brake_power_change),
        )
        for pair in result.pairs
    )


def _present(*keys: KeyFigure | None) -> tuple[KeyFigure, ...]:
    return tuple(key for key in keys if key is not None)


def evidence(result: Node, shown: Shown) -> tuple[Table, ...]:
    """Return the tables of all pairs."""
    many = len(result.pairs) > 1
    found = [campaign_table(result.pairs)] if many else []
    if result.ranking:
        found.append(ranking_table(result.ranking))
    if result.price_per_kw:
        found.append(prices_table(result.price_per_kw, shown))
    for pair in result.pairs:
        of = f": {configuration(pair)}" if many else ""
        found.extend(_named(t, of) for t in _pair_tables(pair, shown))
    return tuple(found)


def _named(given: Table, of: str) -> Table:
    return Table(
        title=given.title + of,
        columns=given.columns,
        rows=given.rows,
        numbers=given.numbers,
        note=given.note,
    )


def _pair_tables(pair: Node, shown: Shown) -> Iterable[Table]:
    yield changes_table(
        "Changes",
        (
            ("air flow as indicated", pair.airflow_change_indicated),
            ("air flow of the engine", pair.airflow_change),
            ("sensor's reading (skew)", pair.sensor_skew),
            ("brake power", pair.brake_power_change),
            ("fuel", pair.fuel_change),
        ),
        note="Probability that the engine breathes more air: "
        f"{probability(pair.probability_of_gain)}; that the sensor reads higher: "
        f"{probability(pair.probability_of_over_reading)}.",
    )
    yield routes_table(pair.estimates, "change")
    yield _speed_table(pair.by_speed)
    if pair.attribution is not None:
        yield _attribution_table(pair.attribution)
    yield causes_table(pair.causes)
    if pair.equivalent_bore is not None:
        bore = pair.equivalent_bore
        yield table(
            "Bores",
            ("what", "value"),
            (
                ("bore before", quantity(bore.before_m, "m", shown)),
                ("bore that would explain the skew", interval_text(bore.equivalent_m, "m", shown)),
            ),
            numbers=("value",),
            note=bore.sentence,
        )
    if pair.spool_up is not None:
        yield from _spool_tables(pair.spool_up, shown)


def _speed_table(rows: Iterable[Node]) -> Table:
    columns = (
        "engine speed, rpm",
        "indicated",
        "engine's air",
        "95 % interval",
        "skew",
        "95 % interval of skew",
        "samples",
    )
    return table(
        "By engine speed",
        columns,
        (
            (
                number(r.engine_speed_rpm, 4),
                percent(r.airflow_change_indicated),
                percent(r.airflow_change.value),
                percent_range(r.airflow_change),
                percent(r.sensor_skew.value),
                percent_range(r.sensor_skew),
                str(r.samples),
            )
            for r in rows
        ),
        numbers=columns,
    )


def _attribution_table(parts: Node) -> Table:
    return changes_table(
        "Where the change comes from",
        (
            ("air: from manifold pressure", parts.manifold_pressure),
            ("air: from charge temperature", parts.charge_temperature),
            ("air: from breathing (remainder)", parts.volumetric_efficiency),
            ("power: from fuel", parts.power_from_fuel),
            ("power: from efficiency", parts.power_from_efficiency),
            ("air that added fuel may bring", parts.fuelling_feedback),
            ("most that less restriction gives", parts.restriction_ceiling),
        ),
        note=parts.note or "",
    )


def _spool_tables(spool: Node, shown: Shown) -> Iterable[Table]:
    yield table(
        "Build-up of boost after a load step",
        (
            "share of the rise",
            "measured against",
            "before, s",
            "after, s",
            "difference, s",
            "95 % interval, s",
            "verdict",
        ),
        (
            (
                percent(t.share_of_rise, 0, sign=False),
                say(t.rise or ""),
                number(t.before_s.value),
                number(t.after_s.value),
                number(t.difference_s.value),
                _seconds(t.difference_s),
                say(t.verdict),
            )
            for t in spool.times
        ),
        numbers=("before, s", "after, s", "difference, s", "95 % interval, s"),
        note=f"{spool.sentence} Repeats: {spool.repeats_before} and {spool.repeats_after}.",
    )
    if spool.levels:
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


def method(result: Node) -> tuple[Table, ...]:
    """Return test of the routes, sensitivity to the priors and the budget of each pair."""
    many = len(result.pairs) > 1
    found: list[Table] = []
    for pair in result.pairs:
        of = f": {configuration(pair)}" if many else ""
        found.append(_named(budget_table(pair.budget, of="the sensor skew"), of))
        found.append(_named(_tests_table(pair), of))
        found.append(_named(_priors_table(pair.prior_sensitivity), of))
    return tuple(found)


def _tests_table(pair: Node) -> Table:
    return table(
        "Do the routes agree?",
        ("test", "value"),
        (
            ("chi-square of the routes", number(pair.chi_square, 3)),
            ("its degrees of freedom", str(pair.chi_square_dof)),
            ("probability of a larger value by chance", probability(pair.chi_square_probability)),
            ("degrees of freedom of the intervals", number(pair.degrees_of_freedom, 3)),
        ),
        numbers=("value",),
    )


def _priors_table(runs: Iterable[Node] | None) -> Table:
    return table(
        "With other prior sizes",
        ("prior sizes times", "verdict", "engine's air", "sensor's reading"),
        (
            (
                number(r.factor, 2),
                say(r.verdict),
                percent_interval(r.airflow_change),
                percent_interval(r.sensor_skew),
            )
            for r in runs or ()
        ),
        numbers=("prior sizes times", "engine's air", "sensor's reading"),
    )
