"""Tables of a campaign of several configurations."""

from __future__ import annotations

from collections.abc import Iterable

from airsense.report.headline import configuration
from airsense.report.node import Node
from airsense.report.page_parts import Table, interval_text, table
from airsense.report.units_shown import Shown
from airsense.report.words import NOTHING, number, percent_interval, probability, say


def campaign_table(pairs: Iterable[Node]) -> Table:
    """Return verdict and changes of all configurations."""
    numbers = ("indicated", "engine's air", "sensor's reading", "brake power")
    return table(
        "All configurations",
        ("configuration", "against", "verdict", *numbers),
        (
            (
                configuration(p),
                p.baseline,
                say(p.verdict),
                percent_interval(p.airflow_change_indicated),
                percent_interval(p.airflow_change),
                percent_interval(p.sensor_skew),
                percent_interval(p.brake_power_change),
            )
            for p in pairs
        ),
        numbers=numbers,
    )


def ranking_table(rows: Iterable[Node]) -> Table:
    """Return the intakes by the air that the engine breathes."""
    return table(
        "Ranking by the air that the engine breathes",
        ("tune", "place", "intake", "probability of being best", "mean place", "engine's air"),
        (
            (
                r.tune,
                str(r.place),
                r.intake,
                probability(r.probability_best),
                number(r.mean_place, 2),
                percent_interval(r.airflow_change),
            )
            for r in rows
        ),
        numbers=("place", "probability of being best", "mean place", "engine's air"),
    )


def prices_table(rows: Iterable[Node], shown: Shown) -> Table:
    """Return what a kilowatt gained costs."""
    return table(
        "Price of a kilowatt gained",
        ("tune", "intake", "price", "power gained", "price a kW", "at least", "note"),
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
        numbers=("price", "power gained", "price a kW", "at least"),
        note="In the currency of the campaign file.",
    )
