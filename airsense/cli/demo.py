"""airsense demo: our own scenario, and the main jobs run on it."""

from __future__ import annotations

from pathlib import Path

import click

from airsense.cli.common import OUT_FILE, Output, output_options

FOLDER = Path("airsense-demo")


@click.command()
@click.option("--out", type=OUT_FILE, default=FOLDER, show_default=True, help="Folder to write to.")
@output_options
def command(out: Path, output: Output) -> None:
    """Write our scenario and run compare, rescale and audit on it."""
    from airsense.jobs import demo

    output.write(demo.run(out, force=output.force))
