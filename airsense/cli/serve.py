"""airsense serve: the same jobs in a browser, on this computer only."""

from __future__ import annotations

import click


@click.command()
@click.option(
    "--port",
    type=click.IntRange(0, 65_535),
    default=0,
    metavar="N",
    help="Port of this computer; without it a free one is taken.",
)
@click.option("--no-open", is_flag=True, help="Do not open the browser.")
def command(port: int, no_open: bool) -> None:
    """Compare, check, rescale and audit in the browser of this computer.

    The first line is the address, with a key that is new each time. Files that are given to the
    page stay on this computer, and are removed when it ends: save the answers you want to keep.
    """
    from airsense.serve.server import serve

    click.echo("Ctrl-C ends it; what was not saved is then removed.", err=True)
    serve(port=port, open_browser=not no_open, say=click.echo)
