"""What the page of a rescaled table shows beside figures."""

from __future__ import annotations

from collections.abc import Iterable

from airsense.report.figures_rescale import less_one
from airsense.report.node import Node
from airsense.report.page_parts import (
    KeyFigure,
    Table,
    interval_text,
    key_change,
    quantity,
    table,
)
from airsense.report.units_shown import Shown
from airsense.report.words import (
    cause,
    number,
    percent,
    percent_interval,
    percent_range,
    probability,
    say,
)
from airsense.results import Interval


def keys(result: Node) -> tuple[tuple[KeyFigure, ...], ...]:
    """Return the mean correction."""
    key = key_change("mean correction of the flow", less_one(result.scale))
    return ((key,) if key is not None else (),)


def evidence(result: Node, shown: Shown) -> tuple[Table, ...]:
    """Return the new table and what was tested beside it."""
    found = [_cells_table(result, shown)]
    found.append(
        table(
            "Disagreement with the true flow",
            ("table", "root mean square"),
            (
                ("old", percent(result.residual_before, 2, sign=False)),
                ("new", percent(result.residual_after, 2, sign=False)),
                (
                    "new, on runs left out of the fit",
                    percent(result.residual_left_out, 2, sign=False),
                ),
            ),
            numbers=("root mean square",),
        )
    )
    if result.equivalent_bore_m is not None:
        found.append(_bores_table(result, shown))
    found.append(
        table(
            "Routes to the true flow",
            ("route", "used", "why"),
            ((say(r.method), "yes" if r.used else "no", r.reason) for r in result.routes),
        )
    )
    found.extend(_rescale_tests(result))
    return tuple(found)


def _cells_table(result: Node, shown: Shown) -> Table:
    unit = shown.unit("kg/s")
    numbers = (
        f"signal, {result.signal_unit}",
        f"old, {unit}",
        f"new, {unit}",
        "correction",
        "95 % interval",
        "samples",
        "runs",
    )
    return table(
        "The table",
        (*numbers, "support"),
        (
            (
                number(c.signal, 5),
                number(shown.number(c.flow_old, "kg/s"), 4),
                number(shown.number(c.flow_new, "kg/s"), 4),
                percent(c.correction - 1.0),
                percent_range(less_one(Interval(c.correction, c.low, c.high))),
                str(c.samples),
                str(c.runs),
                c.support,
            )
            for c in result.cells
        ),
        numbers=numbers,
    )


def _bores_table(result: Node, shown: Shown) -> Table:
    rows = [
        (
            "bore that would explain the correction",
            interval_text(result.equivalent_bore_m, "m", shown),
        )
    ]
    if result.bore_after_m is not None:
        rows.append(("bore declared", quantity(result.bore_after_m, "m", shown)))
    return table("Bores", ("what", "value"), rows, numbers=("value",))


def _rescale_tests(result: Node) -> Iterable[Table]:
    if result.route_gaps:
        yield table(
            "Do the routes agree?",
            ("first", "second", "difference", "z"),
            (
                (say(g.first), say(g.second), percent_interval(g.gap), number(g.z, 2))
                for g in result.route_gaps
            ),
            numbers=("difference", "z"),
        )
    yield table(
        "Could something else than the table be the cause?",
        ("cause", "status", "size", "odds", "probability"),
        (
            (
                cause(c.cause),
                say(c.status),
                percent_interval(c.size),
                number(c.odds, 2),
                probability(c.probability),
            )
            for c in result.causes or ()
        ),
        numbers=("size", "odds", "probability"),
    )
    yield table(
        "Does the reading depend on more than the signal?",
        ("variable", "tested", "depends", "effect"),
        (
            (
                say(c.variable),
                "yes" if c.tested else "no",
                ("yes" if c.depends else "no") if c.tested else "",
                percent_interval(c.effect),
            )
            for c in result.covariates or ()
        ),
        numbers=("effect",),
    )


def method(result: Node) -> tuple[Table, ...]:
    """Return no tables of its own."""
    return ()
