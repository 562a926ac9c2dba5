"""airsense compare: is the gain real?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from airsense.cli.common import (
    EXIT_CONDITION_MET,
    IN_FILE,
    LOG_FILE,
    RPM_WINDOW,
    VERDICTS,
    Output,
    fail_on_option,
    output_options,
)

if TYPE_CHECKING:
    from airsense.jobs.comparison.result import CompareResult


@click.command()
@click.argument("campaign", required=False, type=IN_FILE)
@click.option("--engine", "engine_file", type=IN_FILE, help="engine.toml of the setup.")
@click.option("--before", multiple=True, type=LOG_FILE, help="Log of the first configuration.")
@click.option("--after", multiple=True, type=LOG_FILE, help="Log of the second configuration.")
@click.option("--rpm", type=RPM_WINDOW, help="Window of engine speed, such as 1600:3800.")
@click.option(
    "--margin",
    type=click.FloatRange(0.01, 20.0),
    default=1.0,
    show_default=True,
    metavar="PERCENT",
    help="'No change' is a result only inside this margin.",
)
@fail_on_option(*VERDICTS)
@output_options
@click.pass_context
def command(  # noqa: PLR0913, PLR0917  # one parameter an option
    context: click.Context,
    campaign: Path | None,
    engine_file: Path | None,
    before: tuple[Path, ...],
    after: tuple[Path, ...],
    rpm: tuple[float, float] | None,
    margin: float,
    fail_on: tuple[str, ...],
    output: Output,
) -> None:
    """Say what of an indicated change of air the engine breathes, and what the intake gave.

    Either --engine with --before and --after (both repeat, one log a run), or a CAMPAIGN.toml.
    --fail-on takes a verdict of any pair, such as reading_only.
    """
    result = _run(campaign, engine_file, before, after, rpm=rpm, margin=margin / 100.0)
    output.write(result)
    if any(pair.verdict.value in fail_on for pair in result.pairs):
        context.exit(EXIT_CONDITION_MET)


def _run(
    campaign: Path | None,
    engine_file: Path | None,
    before: tuple[Path, ...],
    after: tuple[Path, ...],
    *,
    rpm: tuple[float, float] | None,
    margin: float,
) -> CompareResult:
    if campaign is not None:
        if engine_file or before or after:
            raise click.UsageError("give either a CAMPAIGN.toml or --engine, --before, --after")
        from airsense.jobs import campaign as campaign_job

        return campaign_job.run(campaign, rpm=rpm, margin=margin)
    if not (engine_file and before and after):
        raise click.UsageError("--engine, --before and --after are needed (or a CAMPAIGN.toml)")
    from airsense.jobs import compare

    return compare.run(engine_file, before, after, rpm=rpm, margin=margin)
