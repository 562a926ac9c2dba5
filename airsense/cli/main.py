"""The `airsense` group: loads a command only when it is called, and lays out errors once."""

from __future__ import annotations

import gc
import importlib
import os
import sys

import click

import airsense
from airsense.errors import InputError

OBJECTS_BEFORE_COLLECTION = 100_000
_COMMANDS = {
    "audit": "check the figures of a published comparison against each other",
    "channels": "show what was recognised in a log",
    "check": "does the MAF agree with routes that do not use it?",
    "compare": "is the gain real? before and after, or a whole campaign",
    "demo": "write our own scenario and run the main jobs on it",
    "new": "write a commented template",
    "plan": "how many runs, and which sensor, to settle a change",
    "report": "make the page again from a result",
    "rescale": "the MAF transfer table that reads true after a tube change",
    "screen": "check a folder of logs",
    "tube": "what a change of bore alone would do to the reading",
}


class LazyGroup(click.Group):
    """A group whose commands are imported when called, so that --help loads nothing heavy."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of the commands."""
        return sorted(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command."""
        if cmd_name not in _COMMANDS:
            return None
        module = importlib.import_module(f"airsense.cli.{cmd_name}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(sorted(_COMMANDS.items()))


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(airsense.__version__, prog_name="airsense")
def cli() -> None:
    """Prove whether an engine's airflow figures are true.

    The tool advises; it certifies nothing. Engine tests can injure and destroy: follow local
    codes and licensed practice.
    """


def main() -> None:
    """Run the command line: exit 0 it ran, 1 bad input, 2 wrong usage, 3 --fail-on is met."""
    _start_quickly()
    try:
        code = cli.main(standalone_mode=False)
    except InputError as error:
        click.echo(f"error: {error}", err=True)
        sys.exit(1)
    except click.exceptions.Abort:
        click.echo("stopped", err=True)
        sys.exit(130)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    # The last search for garbage would take a tenth of a second; the memory is freed anyway.
    gc.freeze()
    sys.exit(code if isinstance(code, int) else 0)


def _start_quickly() -> None:
    # The matrices are small: threads inside linear algebra cost more than they gain.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Looking for plugins of pydantic reads the metadata of all that is installed.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "1")
    # Loading modules makes many objects that stay: looking for garbage among them takes time.
    gc.set_threshold(OBJECTS_BEFORE_COLLECTION)
