"""Read a result back, so that its page and figures can be made again."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from airsense.errors import InputError
from airsense.reading import MOST_RESULT_BYTES, read_bounded
from airsense.report.validate import validate


def run(result_file: Path) -> dict[str, Any]:
    """Return the plain JSON of a result.

    Raises
    ------
    InputError
        If the file cannot be read, is no JSON, or is no result.
    """
    plain = _read(result_file)
    validate(plain, where=str(result_file))
    return dict(plain)


def _read(path: Path) -> Any:
    try:
        text = read_bounded(path, MOST_RESULT_BYTES).decode("utf-8-sig")
        plain = json.loads(text, parse_constant=_no_constant)
        json.dumps(plain, ensure_ascii=False).encode("utf-8")  # half a character fails here
    except OSError as error:
        raise _unreadable(path, error.strerror or type(error).__name__) from None
    except UnicodeDecodeError:
        raise _unreadable(path, "bytes that are no UTF-8 text") from None
    except RecursionError:
        raise _unreadable(path, "JSON nested too deep") from None
    except ValueError as error:
        raise _unreadable(path, str(error)[:120]) from None
    return plain


@contextmanager
def blaming(result_file: Path) -> Iterator[None]:
    """Turn what a file's odd numbers do to the drawing into an error about the file.

    A file may fit the schema and still hold what no job writes, such as a bar of negative length.
    """
    try:
        yield
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        raise InputError(
            "the result cannot be shown",
            where=str(result_file),
            got=f"{type(error).__name__}: {error}"[:120],
            allowed="a result as an airsense command wrote it with --json",
            fix="make the result again; if it is unchanged, report this as a fault of airsense",
        ) from error


def _no_constant(name: str) -> float:
    raise ValueError(f"{name}, which is no JSON")


def _unreadable(path: Path, got: str) -> InputError:
    return InputError(
        "result cannot be read",
        where=str(path),
        got=got,
        allowed="a JSON file that an airsense command wrote with --json",
        fix="check the path, or make the result again",
    )
