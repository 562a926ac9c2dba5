"""airsense report: the page again, from a result."""

from __future__ import annotations

from pathlib import Path

import click

from airsense.cli.common import IN_FILE, Output, output_options


@click.command()
@click.argument("result", type=IN_FILE)
@output_options
def command(result: Path, output: Output) -> None:
    """Show RESULT.json, which a command wrote with --json; make its page or figures again."""
    from airsense.jobs import report

    plain = report.run(result)
    with report.blaming(result):
        output.write(plain)
