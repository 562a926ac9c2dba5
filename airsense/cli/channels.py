"""airsense channels: what was recognised in a log."""

from __future__ import annotations

from pathlib import Path

import click

from airsense.cli.common import IN_FILE, LOG_FILE, Output, output_options


@click.command()
@click.argument("log", type=LOG_FILE, required=False)
@click.option("--engine", "engine_file", type=IN_FILE, help="engine.toml with [channels].")
@output_options
def command(log: Path | None, engine_file: Path | None, output: Output) -> None:
    """Show what was recognised in LOG: unit, rate, range, and what was ignored.

    With --all and no LOG: every channel that can be recognised, and names that are understood.
    """
    if log is None and not output.everything:
        raise click.UsageError("Missing argument 'LOG'; --all alone lists what can be recognised.")
    from airsense.jobs.channels import run, run_without_log

    output.write(run_without_log() if log is None else run(log, engine_file))
