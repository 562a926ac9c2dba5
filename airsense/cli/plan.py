"""airsense plan: how many runs, and which sensor, to settle a change."""

from __future__ import annotations

from pathlib import Path

import click

from airsense.cli.common import (
    LogsCommand,
    LogsOption,
    Output,
    Percent,
    engine_option,
    output_options,
)

FRACTION = click.FloatRange(0.0, 1.0, min_open=True, max_open=True)


@click.command(cls=LogsCommand)
@engine_option
@click.option(
    "--log", "logs", cls=LogsOption, help="Pilot logs of one configuration, or their folder."
)
@click.option(
    "--sensor", "sensors", multiple=True, metavar="CHANNEL", help="A channel to come; may repeat."
)
@click.option(
    "--quantity",
    type=click.Choice(["airflow_change", "indicated_surplus", "sensor_skew", "brake_power_change"]),
    default="airflow_change",
    show_default=True,
    help="What is to be settled.",
)
@click.option(
    "--still", is_flag=True, help="Each log will begin with ignition on and the engine still."
)
@click.option(
    "--change",
    type=Percent(0.0),
    default="3",
    show_default=True,
    help="Change to be shown; 0.1 or more.",
)
@click.option(
    "--power",
    type=FRACTION,
    default=0.90,
    show_default=True,
    help="Probability of seeing the change.",
)
@click.option(
    "--confidence",
    type=FRACTION,
    default=0.95,
    show_default=True,
    help="Confidence of the interval.",
)
@output_options
def command(  # noqa: PLR0913, PLR0917  # one parameter an option
    engine_file: Path,
    logs: tuple[Path, ...],
    sensors: tuple[str, ...],
    quantity: str,
    still: bool,
    change: float,
    power: float,
    confidence: float,
    output: Output,
) -> None:
    """Plan a test that can resolve a change: runs, their order, and the sensor to add."""
    from airsense.evidence.planning.resolution import Wish
    from airsense.evidence.planning.states import PlannedQuantity
    from airsense.jobs import plan

    wish = Wish(change=change, power=power, confidence=confidence)
    output.write(
        plan.run(
            engine_file,
            logs,
            sensors=sensors,
            still=still,
            quantity=PlannedQuantity(quantity),
            wish=wish,
        )
    )
