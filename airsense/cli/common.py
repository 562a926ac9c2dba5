"""Options and output that the commands share, written once."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])

LOG_FILE = click.Path(path_type=Path)
IN_FILE = click.Path(path_type=Path)
OUT_FILE = click.Path(path_type=Path)
# 1 is bad input and 2 wrong usage, as usual.
EXIT_CONDITION_MET = 3
STANDARD_OUTPUT = "-"
# The words of a comparison's verdict; written out, so that --help need not load the evidence.
VERDICTS = (
    "gain_supported",
    "partly_supported",
    "loss_supported",
    "gain_elsewhere",
    "reading_only",
    "no_change",
    "tune_gain_supported",
    "tune_no_gain",
    "undetermined",
)


class RpmWindow(click.ParamType[tuple[float, float]]):
    """LOW:HIGH in rpm."""

    name = "LOW:HIGH"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, float]:
        """Return the two bounds."""
        if isinstance(value, tuple):
            return value
        low, _, high = str(value).partition(":")
        try:
            window = float(low), float(high)
        except ValueError:
            self.fail(f"{value!r} is not LOW:HIGH in rpm, such as 1600:3800", param, ctx)
        if not 0.0 < window[0] < window[1] < float("inf"):
            self.fail(f"{value!r}: LOW must be positive and below HIGH", param, ctx)
        return window


RPM_WINDOW = RpmWindow()


class Percent(click.ParamType[float]):
    """A number of percent: `2`, `2.5`, `2%` or `"2 %"`; the command gets a fraction.

    Without bounds the job judges the number, in five parts; a bound of 0 is itself too low.
    """

    name = "PERCENT"

    def __init__(self, low: float | None = None, high: float = 100.0) -> None:
        self._low, self._high = low, high

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the fraction."""
        try:
            percent = float(str(value).removesuffix("%"))
        except ValueError:
            self.fail(f"{value!r} is no number of percent, such as 2.5", param, ctx)
        low = self._low
        if low is not None and not ((low or 1e-12) <= percent <= self._high):
            least = f"{low:g}" if low else "above 0"
            self.fail(f"{value} is not {least} to {self._high:g} percent", param, ctx)
        return percent / 100.0


class LogsOption(click.Option):
    """An option that takes all logs after it, as a shell expands `run_*.csv`; it may repeat."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        own = {"multiple": True, "type": LOG_FILE, "metavar": "LOG...", "callback": _files}
        super().__init__(*args, **{**kwargs, **own})


class LogsCommand(click.Command):
    """A command whose `LogsOption`s take several values at once."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Repeat the option before each of its values, which is what click understands."""
        names = {n for p in self.params if isinstance(p, LogsOption) for n in p.opts}
        return super().parse_args(ctx, list(_repeated(args, names)))


def _repeated(args: Sequence[str], names: set[str]) -> Iterator[str]:
    """Yield `--before a --before b` for `--before a b`; other options end the values."""
    current = ""
    for k, arg in enumerate(args):
        if arg == "--":
            yield from args[k:]
            return
        if arg.startswith("-") and arg != "-":
            name, equals, _ = arg.partition("=")
            current = name if name in names else ""
            if equals or not current:
                yield arg
            elif k + 1 == len(args) or args[k + 1].startswith("-"):
                yield current  # click says that its value is missing
        elif current:
            yield from (current, arg)
        else:
            yield arg


def _files(ctx: click.Context, param: click.Parameter, value: tuple[Path, ...]) -> tuple[Path, ...]:
    """Return the logs that are meant: those in a folder for the folder."""
    if not any(path.is_dir() for path in value):
        return value
    from airsense.jobs.log_folder import log_files

    is_option = isinstance(param, click.Option)
    return log_files(value, where=param.opts[0] if is_option else param.human_readable_name)


def logs_argument(function: F) -> F:
    """Add the positional LOGS: files, or folders for the logs in them."""
    return click.argument("logs", nargs=-1, required=True, type=LOG_FILE, callback=_files)(function)


class Output:
    """Where a result goes: text to the terminal, JSON, page and figures to files."""

    def __init__(
        self,
        *,
        json: Path | None,
        report: Path | None,
        figures: Path | None = None,
        figure_formats: tuple[str, ...] = ("svg",),
        force: bool,
        quiet: bool,
        units: str | None,
        everything: bool = False,
    ) -> None:
        self.json = json
        self.report = report
        self.figures = figures
        self.figure_formats = figure_formats
        self.force = force
        self.quiet = quiet
        self.units = units
        self.everything = everything

    @property
    def json_to_screen(self) -> bool:
        """Whether the JSON goes to standard output, which then holds nothing else."""
        return self.json is not None and str(self.json) == STANDARD_OUTPUT

    @property
    def files(self) -> list[Path]:
        """The single files to be written."""
        return [p for p in (None if self.json_to_screen else self.json, self.report) if p]

    def check(self, named: Iterable[object] = ()) -> None:
        """Refuse before the work if an output may not be written; `named` is what else was."""
        from airsense.report.files import refuse_clash, refuse_overwrite

        for path in self.files:
            refuse_overwrite(path, force=self.force)
        refuse_clash(self.files, named)
        if self.figures is not None:
            from airsense.report.figures import make_folder

            make_folder(self.figures)

    def write(self, result: Any) -> None:
        """Print the short answer and write what was asked for."""
        from airsense.report.files import refuse_inputs, write_text

        refuse_inputs(self.files, result)
        if self.json is not None:
            from airsense.report.as_json import to_json

            if self.json_to_screen:
                click.echo(to_json(result).encode("utf-8"), nl=False)
            else:
                write_text(self.json, to_json(result), force=self.force)
        if self.report is not None:
            from airsense.report.html import render_page

            write_text(self.report, render_page(result, units=self.units), force=self.force)
        if self.figures is not None:
            from airsense.report.figures import write_figures

            write_figures(
                result,
                self.figures,
                formats=self.figure_formats,
                units=self.units,
                force=self.force,
            )
        if not self.quiet and not self.json_to_screen:
            self.show(result)

    def show(self, result: Any) -> None:
        """Print the readable answer of one result."""
        from airsense.report.console import make_console
        from airsense.report.text import render

        render(result, make_console(), self.units, everything=self.everything)


def output_options(function: F) -> F:
    """Add the options of `Output` to a command and hand it one `output`."""

    @click.option(
        "--json",
        "json_file",
        type=OUT_FILE,
        help="Write the result as JSON; - is standard output, which then holds nothing else.",
    )
    @click.option("--report", "report_file", type=OUT_FILE, help="Write the page (HTML).")
    @click.option("--figures", type=OUT_FILE, metavar="DIR", help="Write each figure to a file.")
    @click.option(
        "--figure-format",
        "figure_formats",
        type=click.Choice(["svg", "png", "pdf"]),
        multiple=True,
        default=("svg",),
        show_default=True,
        help="Of the figures; may repeat.",
    )
    @click.option("--units", type=click.Choice(["si", "us"]), help="Units of text and page.")
    @click.option("--all", "everything", is_flag=True, help="Print the full answer.")
    @click.option("--quiet", "-q", is_flag=True, help="Print nothing but errors.")
    @click.option("--force", is_flag=True, help="Replace output files that exist.")
    @functools.wraps(function)
    def wrapper(
        *args: Any,
        json_file: Path | None,
        report_file: Path | None,
        figures: Path | None,
        figure_formats: tuple[str, ...],
        units: str | None,
        everything: bool,
        quiet: bool,
        force: bool,
        **kwargs: Any,
    ) -> Any:
        output = Output(
            json=json_file,
            report=report_file,
            figures=figures,
            figure_formats=figure_formats,
            force=force,
            quiet=quiet,
            units=units,
            everything=everything,
        )
        output.check(kwargs.values())
        return function(*args, output=output, **kwargs)

    return wrapper  # type: ignore[return-value]  # click keeps the wrapped signature


def engine_option(function: F) -> F:
    """Add the required --engine."""
    return click.option(
        "--engine", "engine_file", required=True, type=IN_FILE, help="engine.toml of the setup."
    )(function)


def fail_on_option(*verdicts: str) -> Callable[[F], F]:
    """Add --fail-on VERDICT, one of the given words; a misspelt one would never fail."""
    return click.option(
        "--fail-on",
        multiple=True,
        type=click.Choice(verdicts),
        metavar="VERDICT",
        help=f"Exit 3 at this verdict; may repeat. One of: {', '.join(verdicts)}.",
    )
