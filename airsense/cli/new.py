"""airsense new: a commented template."""

from __future__ import annotations

from pathlib import Path

import click

from airsense.cli.common import OUT_FILE


@click.command()
@click.argument("kind", type=click.Choice(["engine", "campaign", "claims"]))
@click.option("--out", type=OUT_FILE, help="Write to this file instead of the terminal.")
@click.option("--force", is_flag=True, help="Replace the file if it exists.")
def command(kind: str, out: Path | None, force: bool) -> None:
    """Write a commented template of a setup file."""
    from airsense.report.files import write_text
    from airsense.setup.template import Template, template_text

    text = template_text(Template(kind))
    if out is None:
        click.echo(text, nl=False)
    else:
        write_text(out, text, force=force)
        click.echo(f"wrote {out}")
