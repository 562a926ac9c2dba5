"""What the check of one configuration says."""

from __future__ import annotations

from collections.abc import Iterable

from airsense.report.blocks import FULL, Block, Heading, Sentence, filled, table
from airsense.report.figures import pictures_of
from airsense.report.node import Node
from airsense.report.says.shared import (
    about_logs,
    cautions,
    free_evidence_table,
    inputs,
    logs_used,
    method,
    next_measurement,
    part,
    unrecognised,
    worst_finding,
)
from airsense.report.tables import budget_table, causes_table, channels_table, routes_table
from airsense.report.units_shown import Shown
from airsense.report.words import number, percent, percent_interval, percent_range, say, tone


def blocks(result: Node, shown: Shown) -> tuple[Block, ...]:
    """Return what a check says, most important first."""
    found: list[Block] = [part("Is the air-flow reading credible?", "answer")]
    found += _first_screen(result)
    found += cautions(result)
    found.append(part("Evidence", "evidence"))
    found += pictures_of(result, shown.system)
    found.append(routes_table(result.estimates, {"sensor error": "sensor_error"}))
    found.append(free_evidence_table(result.free_evidence or ()))
    if result.sensor_shape is not None:
        found.append(Sentence(text=result.sensor_shape.sentence, level=FULL))
    numbers = ("engine speed, rpm", "sensor error", "samples")
    found.append(
        table(
            "By engine speed",
            numbers,
            (
                (
                    number(r.engine_speed_rpm, 4),
                    percent_interval(r.sensor_error),
                    str(r.samples),
                )
                for r in result.by_speed
            ),
            numbers=numbers,
        )
    )
    found.append(causes_table(result.causes))
    found.append(budget_table(result.budget, of="the sensor's error"))
    found += about_logs(result.logs or ())
    found.append(channels_table(result.channels))
    found += method(result)
    found += inputs(result)
    return filled(found)


def _first_screen(result: Node) -> Iterable[Block]:
    yield Heading(text=result.engine, badge=say(result.verdict), tone=tone(result.verdict))
    yield Sentence(text=result.sentence)
    error = result.sensor_error
    if error is not None:
        yield table(
            "The sensor's error",
            ("against the engine's air", "error", "95 % range"),
            (("what the sensor reads", percent(error.value), percent_range(error)),),
            numbers=("error", "95 % range"),
            level=0,
        )
    yield from logs_used(result.logs or ())
    yield from unrecognised(result.findings)
    yield from next_measurement([result.next_measurement])
    yield worst_finding(result.findings)
