"""The jobs for Python: the same answers as the command line, from files, logs or DataFrames.

Everywhere, `logs`, `before`, `after` and `baseline` take a path, a folder (all logs directly in
it), a `Log` or a DataFrame, one or several; `engine` takes the path of an engine.toml or an
`EngineSetup`. Fractions are fractions: 0.01 is 1 %.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from airsense.api.arguments import (
    PathLike,
    as_engine,
    as_logs,
    as_path,
    as_window,
    between,
    blaming,
    speaking_of_arguments,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from airsense.api.arguments import Engine, Logs
    from airsense.jobs.audit import AuditResult
    from airsense.jobs.check import CheckResult
    from airsense.jobs.comparison.result import CompareResult
    from airsense.jobs.planning.result import PlanResult
    from airsense.jobs.rescaling.result import RescaleResult
    from airsense.setup.claims import Claims
    from airsense.transfer.model import TransferTable


def compare(
    before: Logs,
    after: Logs,
    engine: Engine,
    *,
    rpm: tuple[float, float] | None = None,
    margin: float = 0.01,
    tunes: tuple[str, str] | None = None,
) -> CompareResult:
    """Say what of an indicated change of air the engine breathes, and what the intake gave.

    Parameters
    ----------
    before, after : path, folder, Log or DataFrame, or several
        Logs of the two configurations.
    engine : path or EngineSetup
    rpm : (float, float), optional
        Window of engine speed. [rpm]
    margin : float
        "No change" is a result only inside this margin; a fraction.
    tunes : (str, str), optional
        Names of two tunes on one intake: then the question is about the tune.

    Raises
    ------
    InputError
        If an argument, a file or the logs' content cannot be used.
    """
    from airsense.jobs.compare import compare_logs

    window = as_window(rpm)
    between("margin", margin, 0.0001, 0.2)
    setup, inputs = as_engine(engine)
    old, new = (
        as_logs(given, name, setup) for name, given in (("before", before), ("after", after))
    )
    with speaking_of_arguments():
        result = compare_logs(old, new, setup, rpm=window, margin=margin, tunes=tunes)
    return replace(result, inputs=(*inputs, *result.inputs))


def check(logs: Logs, engine: Engine, *, rpm: tuple[float, float] | None = None) -> CheckResult:
    """Check whether the reading agrees with routes that do not use the sensor.

    Parameters
    ----------
    logs : path, folder, Log or DataFrame, or several
        Logs of one configuration.
    engine : path or EngineSetup
    rpm : (float, float), optional
        Window of engine speed. [rpm]

    Raises
    ------
    InputError
        If an argument, a file or the logs' content cannot be used.
    """
    from airsense.jobs.check import check_logs

    window = as_window(rpm)
    setup, inputs = as_engine(engine)
    read = as_logs(logs, "logs", setup)
    with speaking_of_arguments():
        result = check_logs(read, setup, rpm=window)
    return replace(result, inputs=(*inputs, *result.inputs))


def rescale(
    logs: Logs,
    engine: Engine,
    table: PathLike | TransferTable,
    *,
    baseline: Logs = (),
    baseline_table: PathLike | TransferTable | None = None,
    max_step: float = 0.10,
    share: float = 1.0,
    force_cause: bool = False,
) -> RescaleResult:
    """Return the MAF transfer table that reads true after a change of the tube.

    Parameters
    ----------
    logs : path, folder, Log or DataFrame, or several
        Logs with the present tube and table.
    engine : path or EngineSetup
    table : path or TransferTable
        The table in force when `logs` were taken.
    baseline : path, folder, Log or DataFrame, or several
        Logs with the old tube and a trusted table.
    baseline_table : path or TransferTable, optional
        The table in force when `baseline` were taken, where they hold the signal only.
    max_step : float
        Largest change of a breakpoint in one go; a fraction.
    share : float
        Part of the correction to apply; a fraction.
    force_cause : bool
        Take it that nothing but the table is at work.

    Raises
    ------
    InputError
        If an argument, a file or the logs' content cannot be used.
    """
    from airsense.api.tables import as_table
    from airsense.jobs import rescale as job

    between("max_step", max_step, *job.MAX_STEP)
    between("share", share, *job.SHARE)
    setup, inputs = as_engine(engine)
    present, own = as_table(table, "table")
    old, older = (
        (None, ()) if baseline_table is None else as_table(baseline_table, "baseline_table")
    )
    read = as_logs(logs, "logs", setup)
    trusted = as_logs(baseline, "baseline", setup, least=0)
    with speaking_of_arguments():
        result = job.rescale_logs(
            read,
            setup,
            present,
            baseline=trusted,
            baseline_table=old,
            max_step=max_step,
            share=share,
            force_cause=force_cause,
        )
    return replace(result, inputs=(*inputs, *own, *older, *result.inputs))


def audit(claims: PathLike | Claims, engine: PathLike | None = None) -> AuditResult:
    """Say which claims of a published comparison its own figures support.

    Parameters
    ----------
    claims : path or Claims
        A claims.toml, or with `engine` a CSV table of results.
    engine : path, optional
        The engine.toml of such a table.

    Raises
    ------
    InputError
        If a file cannot be used, or claims something of figures that it does not print.
    """
    from airsense.jobs import audit as job
    from airsense.setup.claims import Claims

    with speaking_of_arguments():
        if isinstance(claims, Claims):
            return job.audit(claims, source="claims")
        own = as_path(claims, "claims")
        of = None if engine is None else as_path(engine, "engine")
        with blaming("claims"):
            return job.run(own, of)


def plan(
    engine: Engine,
    logs: Logs = (),
    *,
    sensors: Sequence[str] = (),
    still: bool = False,
    quantity: str = "airflow_change",
    change: float = 0.03,
    power: float = 0.90,
    confidence: float = 0.95,
) -> PlanResult:
    """Plan a test that can resolve a change: runs, their order, and the sensor to add.

    Parameters
    ----------
    engine : path or EngineSetup
    logs : path, folder, Log or DataFrame, or several
        Pilot logs of one configuration.
    sensors : sequence of str
        Canonical channels that the test will have besides; alone, they replace the usual ones.
    still : bool
        Whether each log will begin with seconds of ignition on and the engine still.
    quantity : str
        What is to be settled: airflow_change, indicated_surplus, sensor_skew, brake_power_change.
    change, power, confidence : float
        The change to be shown, the probability of seeing it, the confidence of the interval;
        fractions.

    Raises
    ------
    InputError
        If an argument or a file cannot be used, or the channels say nothing about the quantity.
    """
    from airsense.api.planning import plan_in_words
    from airsense.evidence.planning.resolution import Wish
    from airsense.jobs.planning.words import LEAST_CHANGE

    between("change", change, LEAST_CHANGE, 1.0)
    between("power", power, 0.001, 0.999)
    between("confidence", confidence, 0.001, 0.999)
    setup, inputs = as_engine(engine)
    pilots = as_logs(logs, "logs", setup, least=0)
    names = (sensors,) if isinstance(sensors, str) else tuple(sensors)
    wish = Wish(change=change, power=power, confidence=confidence)
    with speaking_of_arguments():
        result = plan_in_words(
            pilots, setup, sensors=names, still=still, quantity=quantity, wish=wish
        )
    return replace(result, inputs=(*inputs, *result.inputs))
