"""airsense channels: what was recognised in a log."""

from __future__ import annotations

from pathlib import Path

import click

from airsense.cli.common import IN_FILE, LOG_FILE, Output, output_options


@click.command()
@click.argument("log", type=LOG_FILE)
@click.option("--engine", "engine_file", type=IN_FILE, help="engine.toml with [channels].")
@output_options
def command(log: Path, engine_file: Path | None, output: Output) -> None:
    """Show what was recognised in LOG: unit, rate, range, and what was ignored."""
    from airsense.jobs.channels import run

    output.write(run(log, engine_file))
