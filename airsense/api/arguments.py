"""Arguments as people give them -> logs, setup; and errors that speak of arguments."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias, Union

from airsense.errors import InputError

if TYPE_CHECKING:
    import pandas as pd

    from airsense.logs.log import Log
    from airsense.results import InputFile
    from airsense.setup.engine import EngineSetup

PathLike: TypeAlias = str | os.PathLike[str]
OneLog: TypeAlias = Union[PathLike, "Log", "pd.DataFrame"]
Logs: TypeAlias = OneLog | Iterable[OneLog]
Engine: TypeAlias = Union[PathLike, "EngineSetup"]

# An option in running text; commands between backticks stay as they are typed.
_OPTION = re.compile(r"`[^`]*`|(?<!\w)--([a-z][a-z-]*)")
# Options whose argument is called otherwise.
_ARGUMENTS = {
    "log": "logs",
    "sensor": "sensors",
    "apply": "share",
    "force-cause": "force_cause=True",
    "all": "to_frame()",
    "json": "to_json()",
}


def as_logs(given: Logs, name: str, setup: EngineSetup, *, least: int = 1) -> list[Log]:
    """Return the logs of an argument, with the setup's words for their columns.

    Raises
    ------
    InputError
        If one cannot be read or is of another type, or there are fewer than `least`.
    """
    found = [log for one, place in _each(given, name) for log in _read(one, place, setup)]
    if len(found) < least:
        raise InputError(
            f"{name} holds no log",
            where=name,
            got="nothing",
            allowed="a path, a folder, a Log or a DataFrame, one or several",
            fix=f"give at least one log as {name}",
        )
    return found


def _each(given: Logs, name: str) -> Iterator[tuple[Any, str]]:
    """Yield each log of an argument with its place: `before`, or `before[1]` of several."""
    if not isinstance(given, Iterable) or isinstance(given, str) or _is_one(given):
        yield given, name
        return
    for k, one in enumerate(given):
        yield one, f"{name}[{k}]"


def _is_one(given: Any) -> bool:
    from airsense.logs.log import Log

    return isinstance(given, Log | os.PathLike | dict) or _is_frame(given)


def _is_frame(given: Any) -> bool:
    # Who has a DataFrame has loaded pandas.
    pandas = sys.modules.get("pandas")
    return pandas is not None and isinstance(given, pandas.DataFrame)


def _read(one: Any, place: str, setup: EngineSetup) -> list[Log]:
    from airsense.jobs.log_folder import log_files
    from airsense.logs.log import Log
    from airsense.logs.suggest import read_logs

    if isinstance(one, Log):
        return [one]
    if _is_frame(one):
        return [Log.from_dataframe(one, channels=setup.channels, name=place)]
    path = as_path(one, place, allowed="a path, a folder, a Log or a DataFrame")
    files = log_files([path], where=place)
    with blaming(place):
        return read_logs(files, setup.channels)


def as_path(given: Any, name: str, *, allowed: str = "a path") -> Path:
    """Return a path.

    Raises
    ------
    InputError
        If the argument is none.
    """
    if isinstance(given, str | os.PathLike):
        return Path(given)
    raise InputError(
        f"{name} cannot be used",
        where=name,
        got=f"{type(given).__name__} {str(given)[:80]}",
        allowed=allowed,
        fix=f"give {name} as one of these",
    )


def as_engine(given: Engine) -> tuple[EngineSetup, tuple[InputFile, ...]]:
    """Return a setup, and the files that it came from.

    Raises
    ------
    InputError
        If the file cannot be used, or the argument is neither path nor setup.
    """
    from airsense.jobs.provenance import setup_inputs
    from airsense.setup.engine import EngineSetup
    from airsense.setup.load import load_engine
    from airsense.setup.ve_table import read_ve_table

    if not isinstance(given, EngineSetup):
        path = as_path(given, "engine", allowed="the path of an engine.toml, or an EngineSetup")
        with blaming("engine"):
            setup = load_engine(path)
        return setup, setup_inputs(path, setup)
    named = given.engine.volumetric_efficiency
    if not isinstance(named, str):
        return given, ()
    with blaming("engine"):
        engine = given.engine.model_copy(
            update={"volumetric_efficiency": read_ve_table(Path(named))}
        )
    return given.model_copy(update={"engine": engine}), ()


def as_window(rpm: tuple[float, float] | None) -> tuple[float, float] | None:
    """Return a window of engine speed. [rpm]

    Raises
    ------
    InputError
        If it is not two rising positive numbers.
    """
    if rpm is None:
        return None
    try:
        low, high = (float(bound) for bound in rpm)
    except (TypeError, ValueError):
        low = high = float("nan")
    if not 0.0 < low < high < float("inf"):
        raise InputError(
            "rpm is no window of engine speed",
            where="rpm",
            got=repr(rpm)[:80],
            allowed="two positive numbers, the lower one first",
            fix="give rpm=(1600, 3800), or leave it out",
        )
    return low, high


def between(name: str, value: float, low: float, high: float) -> None:
    """Refuse a fraction that is outside what is sensible.

    Raises
    ------
    InputError
        With the range.
    """
    if isinstance(value, int | float) and low <= value <= high:
        return
    raise InputError(
        f"{name} is outside what is sensible",
        where=name,
        got=repr(value)[:80],
        allowed=f"{low:g} to {high:g}",
        fix=f"give a fraction: {name}=0.05 means 5 %",
    )


@contextmanager
def blaming(name: str) -> Iterator[None]:
    """Name the argument in the place of an error, and speak of arguments."""
    try:
        yield
    except InputError as error:
        where = error.where if error.where.startswith(name) else f"{name}: {error.where}"
        raise _spoken(error, where) from None


@contextmanager
def speaking_of_arguments() -> Iterator[None]:
    """Let errors of a job, which know options of the command line, speak of arguments."""
    try:
        yield
    except InputError as error:
        raise _spoken(error, error.where) from None


def _spoken(error: InputError, where: str) -> InputError:
    return InputError(
        in_python(error.what),
        where=in_python(where),
        got=in_python(error.got),
        allowed=in_python(error.allowed),
        fix=in_python(error.fix),
    )


def in_python(text: str) -> str:
    """Return a message with arguments in the place of options: max_step for `--max-step`."""
    return _OPTION.sub(_argument, text)


def _argument(found: re.Match[str]) -> str:
    option: str | None = found.group(1)
    if option is None:
        return found.group()
    return _ARGUMENTS.get(option, option.replace("-", "_"))
