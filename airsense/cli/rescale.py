"""airsense rescale: the MAF transfer table that reads true after a tube change."""

from __future__ import annotations

from pathlib import Path

import click

from airsense.cli.common import IN_FILE, LOG_FILE, OUT_FILE, Output, engine_option, output_options


@click.command()
@click.argument("logs", nargs=-1, required=True, type=LOG_FILE)
@engine_option
@click.option("--table", "table_file", required=True, type=IN_FILE, help="Table in force (CSV).")
@click.option("--baseline", multiple=True, type=LOG_FILE, help="Log with the old tube. Repeat.")
@click.option("--baseline-table", type=IN_FILE, help="Table in force in the baseline logs (CSV).")
@click.option("--out", type=OUT_FILE, help="Write the new table, with a note beside it.")
@click.option("--max-step", type=float, default=10.0, metavar="PERCENT", show_default=True)
@click.option("--apply", "percent", type=float, default=100.0, metavar="PERCENT", show_default=True)
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
    percent: float,
    force_cause: bool,
    output: Output,
) -> None:
    """The MAF transfer table that reads true after a change of the tube."""
    from airsense.jobs import rescale

    if out is not None:
        rescale.check_out(out, table_file, force=output.force)
    result = rescale.run(
        engine_file,
        logs,
        table_file,
        baseline=baseline,
        baseline_table=baseline_table,
        max_step=max_step / 100.0,
        share=percent / 100.0,
        force_cause=force_cause,
    )
    output.write(result)
    if out is not None:
        rescale.write_table(result, table_file, out, force=output.force)
