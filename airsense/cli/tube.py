"""airsense tube: what geometry alone would do."""

from __future__ import annotations

import click

from airsense.cli.common import Output, output_options


@click.command()
@click.option(
    "--bore-before",
    "bore_before_mm",
    type=float,
    required=True,
    metavar="MM",
    help="Inside diameter of the old tube at the sensor.",
)
@click.option(
    "--bore-after", "bore_after_mm", type=float, metavar="MM", help="That of the new tube."
)
@click.option(
    "--flow",
    "flows_gps",
    type=float,
    multiple=True,
    metavar="G_PER_S",
    help="True flow to answer for; may repeat.",
)
@click.option(
    "--skew",
    "skew_percent",
    type=(float, float),
    metavar="PERCENT HALF_WIDTH",
    help="A measured skew with its 95 % half-width: which bore would explain it?",
)
@click.option(
    "--bore-uncertainty",
    "bore_uncertainty_mm",
    type=float,
    default=0.1,
    show_default=True,
    metavar="MM",
    help="Standard uncertainty of each bore.",
)
@click.option(
    "--film-depth",
    "film_depth_mm",
    type=float,
    metavar="MM",
    help="Distance of the film from its wall.",
)
@click.option("--straight", "straight_mm", type=float, metavar="MM", help="Straight tube ahead.")
@output_options
def command(output: Output, **geometry: object) -> None:
    """What a change of bore alone does to the reading of a hot film."""
    from airsense.jobs import tube

    output.write(tube.run(**geometry))  # type: ignore[arg-type]  # click made the types
