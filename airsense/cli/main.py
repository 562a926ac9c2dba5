"""The `airsense` group: loads a command only when it is called, and lays out errors once."""

from __future__ import annotations

import gc
import importlib
import os
import signal
import sys
from types import FrameType

import click

import airsense
from airsense.cli.streams import close_quietly, settle_streams
from airsense.errors import InputError

# What a shell says of a program that a signal ended: 128 and its number.
ENDED_BY_PIPE, ENDED_BY_TERM = 141, 143
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
    "serve": "the same jobs in a browser, on this computer only",
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
    settle_streams()
    # As an exception, so that temporary files are removed on the way out.
    signal.signal(signal.SIGTERM, _end)
    try:
        code = _run()
    except BrokenPipeError:  # the reader had enough, as `head` has
        code = ENDED_BY_PIPE
    close_quietly()
    # The last search for garbage would take a tenth of a second; the memory is freed anyway.
    gc.freeze()
    sys.exit(code)


def _run() -> int:
    stdout = sys.stdout
    try:
        code = cli.main(standalone_mode=False)
    except InputError as error:
        click.echo(f"error: {error}", err=True)
        return 1
    except BrokenPipeError:
        raise
    except OSError as error:  # such as a name that is too long, or a disk that is full
        click.echo(f"error: {_refused_by_system(error)}", err=True)
        return 1
    except click.exceptions.Abort:
        click.echo("stopped", err=True)
        return 130
    except click.ClickException as error:
        error.show()
        return 2
    except SystemExit:
        # Where click sees the pipe break, it puts another stream in its place and asks for 1.
        if sys.stdout is not stdout:
            return ENDED_BY_PIPE
        raise
    return code if isinstance(code, int) else 0


def _refused_by_system(error: OSError) -> InputError:
    return InputError(
        "a file or folder cannot be used",
        where=str(error.filename or "the disk"),
        got=error.strerror or type(error).__name__,
        allowed="names and places that this computer can read or write",
        fix="check name, rights and space",
    )


def _end(number: int, frame: FrameType | None) -> None:
    sys.exit(ENDED_BY_TERM)


def _start_quickly() -> None:
    # The matrices are small: threads inside linear algebra cost more than they gain.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Looking for plugins of pydantic reads the metadata of all that is installed.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "1")
    # Loading modules makes many objects that stay: looking for garbage among them takes time.
    gc.set_threshold(OBJECTS_BEFORE_COLLECTION)
