"""airsense audit: check the figures of a published comparison against each other."""

from __future__ import annotations

from pathlib import Path

import click

from airsense.cli.common import (
    EXIT_CONDITION_MET,
    IN_FILE,
    Output,
    fail_on_option,
    output_options,
)


@click.command()
@click.argument("claims", type=IN_FILE)
@click.option("--engine", type=IN_FILE, help="engine.toml, where CLAIMS is a CSV of results.")
@fail_on_option("supported", "partly_supported", "contradicted", "undetermined")
@output_options
@click.pass_context
def command(
    context: click.Context,
    claims: Path,
    engine: Path | None,
    fail_on: tuple[str, ...],
    output: Output,
) -> None:
    """Check the printed figures of CLAIMS.toml: supported, contradicted or open.

    `airsense new claims` writes a commented template. With --engine, CLAIMS is a CSV table of
    results, and each intake is held against the first one.
    """
    from airsense.jobs import audit

    result = audit.run(claims, engine)
    output.write(result)
    if result.says(fail_on):
        context.exit(EXIT_CONDITION_MET)
