"""airsense screen: which logs of a folder need a look?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from airsense.cli.common import (
    EXIT_CONDITION_MET,
    OUT_FILE,
    RPM_WINDOW,
    Output,
    engine_option,
    fail_on_option,
    output_options,
)

if TYPE_CHECKING:
    from airsense.jobs.screening.result import ScreenResult

STATE = Path("airsense-screen.jsonl")
OUTCOMES = ("plausible", "implausible", "undetermined", "refused", "failed", "drifts")


@click.command()
@click.argument("source", metavar="DIR")
@engine_option
@click.option("--workers", type=click.IntRange(1, 1024), help="Processes; one a processor.")
@click.option("--cluster", metavar="ADDRESS", help="Of a dask.distributed scheduler.")
@click.option(
    "--state",
    type=OUT_FILE,
    default=STATE,
    show_default=True,
    help="What is finished; the same command goes on from there.",
)
@click.option("--pattern", "patterns", multiple=True, help="Which files are logs; may repeat.")
@click.option("--vehicle", metavar="REGEX", help="Finds the vehicle in a path.")
@click.option("--rpm", type=RPM_WINDOW, help="Window of engine speed, such as 1600:3800.")
@click.option("--csv", "csv_file", type=OUT_FILE, help="Write one row a log as CSV.")
@click.option("--parquet", "parquet_file", type=OUT_FILE, help="Write one row a log as Parquet.")
@fail_on_option(*OUTCOMES)
@output_options
@click.pass_context
def command(  # noqa: PLR0913, PLR0917  # one parameter an option
    context: click.Context,
    source: str,
    engine_file: Path,
    workers: int | None,
    cluster: str | None,
    state: Path,
    patterns: tuple[str, ...],
    vehicle: str | None,
    rpm: tuple[float, float] | None,
    csv_file: Path | None,
    parquet_file: Path | None,
    fail_on: tuple[str, ...],
    output: Output,
) -> None:
    """Check each log in DIR, a folder or an fsspec URL, and sort them by suspicion.

    The vehicle is the first folder below DIR; where its logs are dated, a drift of its sensor is
    looked for. --fail-on takes the outcome of any log, or drifts of any vehicle.
    """
    from airsense.cli.progress import Bar
    from airsense.jobs import screen

    _check_tables(csv_file, parquet_file, others=(state, engine_file), force=output.force)
    options = screen.ScreenOptions(
        workers=workers,
        cluster=cluster,
        state=state,
        rpm=rpm,
        patterns=patterns,
        vehicle=vehicle,
    )
    with Bar("logs", quiet=output.quiet) as bar:
        result = screen.run(source, engine_file, options, watch=bar)
    _write_tables(result, csv_file, parquet_file, force=output.force)
    output.write(result)
    if result.holds(fail_on):
        context.exit(EXIT_CONDITION_MET)


def _check_tables(
    csv_file: Path | None, parquet_file: Path | None, *, others: tuple[Path, ...], force: bool
) -> None:
    """Refuse before the work, not after it."""
    from airsense.report.files import refuse_clash, refuse_overwrite
    from airsense.report.screen_table import require_parquet

    tables = [path for path in (csv_file, parquet_file) if path is not None]
    for path in tables:
        refuse_overwrite(path, force=force)
    refuse_clash(tables, others)
    if parquet_file is not None:
        require_parquet()


def _write_tables(
    result: ScreenResult, csv_file: Path | None, parquet_file: Path | None, *, force: bool
) -> None:
    from airsense.report.files import refuse_inputs, write_bytes, write_text
    from airsense.report.screen_table import to_csv, to_parquet

    refuse_inputs([path for path in (csv_file, parquet_file) if path is not None], result)
    if csv_file is not None:
        write_text(csv_file, to_csv(result), force=force)
    if parquet_file is not None:
        write_bytes(parquet_file, to_parquet(result), force=force)
