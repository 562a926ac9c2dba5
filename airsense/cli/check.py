"""airsense check: does the MAF agree with routes that do not use it?"""

from __future__ import annotations

from pathlib import Path

import click

from airsense.cli.common import (
    EXIT_CONDITION_MET,
    RPM_WINDOW,
    Output,
    engine_option,
    fail_on_option,
    logs_argument,
    output_options,
)


@click.command()
@logs_argument
@engine_option
@click.option("--rpm", type=RPM_WINDOW, help="Window of engine speed, such as 1600:3800.")
@fail_on_option("plausible", "implausible", "undetermined")
@output_options
@click.pass_context
def command(  # one parameter an option
    context: click.Context,
    logs: tuple[Path, ...],
    engine_file: Path,
    rpm: tuple[float, float] | None,
    fail_on: tuple[str, ...],
    output: Output,
) -> None:
    """Check one or more LOGS of one configuration; a folder stands for all logs in it.

    --fail-on takes a verdict: plausible, implausible, undetermined.
    """
    from airsense.jobs import check

    result = check.run(logs, engine_file, rpm=rpm)
    output.write(result)
    if result.verdict.value in fail_on:
        context.exit(EXIT_CONDITION_MET)
