"""airsense rescale: the MAF transfer table that reads true after a tube change."""

from __future__ import annotations

from pathlib import Path

import click

from airsense.cli.common import (
    IN_FILE,
    OUT_FILE,
    LogsCommand,
    LogsOption,
    Output,
    Percent,
    engine_option,
    logs_argument,
    output_options,
)


@click.command(cls=LogsCommand)
@logs_argument
@engine_option
@click.option("--table", "table_file", required=True, type=IN_FILE, help="Table in force (CSV).")
@click.option("--baseline", cls=LogsOption, help="Logs with the old tube, or their folder.")
@click.option("--baseline-table", type=IN_FILE, help="Table in force in the baseline logs (CSV).")
@click.option("--out", type=OUT_FILE, help="Write the new table, with a note beside it.")
@click.option(
    "--max-step",
    type=Percent(),
    default="10",
    show_default=True,
    help="Largest change of a breakpoint in one go.",
)
@click.option(
    "--apply",
    "share",
    type=Percent(),
    default="100",
    show_default=True,
    help="Part of the correction to apply; then log again.",
)
@click.option("--force-cause", is_flag=True, help="Bake in a difference that is not the sensor's.")
@output_options
def command(  # noqa: PLR0913, PLR0917  # one parameter an option
    logs: tuple[Path, ...],
    engine_file: Path,
    table_file: Path,
    baseline: tuple[Path, ...],
    baseline_table: Path | None,
    out: Path | None,
    max_step: float,
    share: float,
    force_cause: bool,
    output: Output,
) -> None:
    """The MAF transfer table that reads true after a change of the tube.

    LOGS are of the present tube; a folder stands for all logs in it. Give them ahead of
    --baseline, which takes all logs after it.
    """
    from airsense.jobs import rescale

    if out is not None:
        rescale.check_out(out, table_file, force=output.force)
    result = rescale.run(
        engine_file,
        logs,
        table_file,
        baseline=baseline,
        baseline_table=baseline_table,
        max_step=max_step,
        share=share,
        force_cause=force_cause,
    )
    output.write(result)
    if out is not None:
        rescale.write_table(result, table_file, out, force=output.force)
