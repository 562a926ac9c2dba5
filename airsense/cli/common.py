"""Options and output that the commands share, written once."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])

LOG_FILE = click.Path(path_type=Path)
IN_FILE = click.Path(path_type=Path)
OUT_FILE = click.Path(path_type=Path)
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

    def check(self) -> None:
        """Refuse before the work, not after it, if an output may not be written."""
        from airsense.report.files import refuse_overwrite

        for path in (None if self.json_to_screen else self.json, self.report):
            if path is not None:
                refuse_overwrite(path, force=self.force)
        if self.figures is not None:
            from airsense.report.figures import make_folder

            make_folder(self.figures)

    def write(self, result: Any) -> None:
        """Print the short answer and write what was asked for."""
        from airsense.report.files import write_text

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
        output.check()
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
