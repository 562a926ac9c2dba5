"""airsense compare: is the gain real?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from airsense.cli.common import (
    EXIT_CONDITION_MET,
    IN_FILE,
    RPM_WINDOW,
    VERDICTS,
    LogsCommand,
    LogsOption,
    Output,
    Percent,
    fail_on_option,
    output_options,
)

if TYPE_CHECKING:
    from airsense.jobs.comparison.result import CompareResult


@click.command(cls=LogsCommand)
@click.argument("campaign", required=False, type=IN_FILE)
@click.option("--engine", "engine_file", type=IN_FILE, help="engine.toml of the setup.")
@click.option("--before", cls=LogsOption, help="Logs of the first configuration, or their folder.")
@click.option("--after", cls=LogsOption, help="Logs of the second configuration, or their folder.")
@click.option("--tune-before", metavar="NAME", help="Tune of the first logs, on the same intake.")
@click.option("--tune-after", metavar="NAME", help="Tune of the second logs: is the gain its own?")
@click.option("--rpm", type=RPM_WINDOW, help="Window of engine speed, such as 1600:3800.")
@click.option(
    "--margin",
    type=Percent(0.01, 20.0),
    default="1",
    show_default=True,
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
    tune_before: str | None,
    tune_after: str | None,
    rpm: tuple[float, float] | None,
    margin: float,
    fail_on: tuple[str, ...],
    output: Output,
) -> None:
    """Say what of an indicated change of air the engine breathes, and what the intake gave.

    Either --engine with --before and --after, or a CAMPAIGN.toml. One log a run: several after
    the option, the option repeated, or a folder for all logs in it. --fail-on takes a verdict of
    any pair, such as reading_only.
    """
    tunes = _tunes(tune_before, tune_after)
    result = _run(campaign, engine_file, before, after, tunes, rpm=rpm, margin=margin)
    output.write(result)
    if any(pair.verdict.value in fail_on for pair in result.pairs):
        context.exit(EXIT_CONDITION_MET)


def _tunes(before: str | None, after: str | None) -> tuple[str, str] | None:
    if before and after:
        return before, after
    if before is None and after is None:
        return None
    raise click.UsageError("--tune-before and --tune-after go together, each with a name")


def _run(
    campaign: Path | None,
    engine_file: Path | None,
    before: tuple[Path, ...],
    after: tuple[Path, ...],
    tunes: tuple[str, str] | None,
    *,
    rpm: tuple[float, float] | None,
    margin: float,
) -> CompareResult:
    if campaign is not None:
        if engine_file or before or after:
            raise click.UsageError("give either a CAMPAIGN.toml or --engine, --before, --after")
        if tunes:
            raise click.UsageError("a CAMPAIGN.toml names the tune of each run itself")
        from airsense.jobs import campaign as campaign_job

        return campaign_job.run(campaign, rpm=rpm, margin=margin)
    if not (engine_file and before and after):
        raise click.UsageError("--engine, --before and --after are needed (or a CAMPAIGN.toml)")
    from airsense.jobs import compare

    return compare.run(engine_file, before, after, rpm=rpm, margin=margin, tunes=tunes)
