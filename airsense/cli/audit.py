"""airsense audit: check the figures of a published comparison against each other."""

from __future__ import annotations

from pathlib import Path

import click

from airsense.cli.common import (
    EXIT_CONDITION_MET,
    IN_FILE,
    VERDICTS,
    Output,
    fail_on_option,
    output_options,
)


@click.command()
@click.argument("claims", type=IN_FILE)
@fail_on_option(*VERDICTS, "supported", "contradicted")
@output_options
@click.pass_context
def command(context: click.Context, claims: Path, fail_on: tuple[str, ...], output: Output) -> None:
    """Check the printed figures of CLAIMS.toml: supported, contradicted or open.

    `airsense new claims` writes a commented template. --fail-on takes a verdict, such as
    sensor_skew, or an outcome, such as contradicted.
    """
    from airsense.jobs import audit

    result = audit.run(claims)
    output.write(result)
    if result.says(fail_on):
        context.exit(EXIT_CONDITION_MET)
