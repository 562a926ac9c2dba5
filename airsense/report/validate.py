"""Whether plain JSON is a result that can be shown: against the schemas that ship with airsense."""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from typing import Any

from airsense.errors import InputError
from airsense.report.html import KINDS

LONGEST_SHOWN = 120


@cache
def schema_of(kind: str) -> dict[str, Any]:
    """Return the JSON schema of a kind of result."""
    folder = resources.files("airsense.report") / "schema"
    found: dict[str, Any] = json.loads((folder / f"{kind}.json").read_text(encoding="utf-8"))
    return found


def validate(plain: Any, *, where: str) -> None:
    """Raise if `plain` is no result of a kind that is known.

    Raises
    ------
    InputError
        Names the first place that does not fit the schema.
    """
    from jsonschema import Draft202012Validator
    from jsonschema.exceptions import best_match

    kind = _kind(plain, where)
    error = best_match(Draft202012Validator(schema_of(kind)).iter_errors(plain))
    if error is not None:
        place = "".join(f"[{p}]" if isinstance(p, int) else f".{p}" for p in error.absolute_path)
        raise InputError(
            "the file is no whole result",
            where=f"{where}, {place.lstrip('.') or 'top level'}",
            got=error.message[:LONGEST_SHOWN],
            allowed=f"a result of airsense {kind}, as --json writes it",
            fix="make the result again with this version of airsense",
        )


def _kind(plain: Any, where: str) -> str:
    schema = plain.get("schema") if isinstance(plain, dict) else None
    for kind in KINDS:
        if schema == f"airsense.{kind}/1":
            return kind
    raise InputError(
        "the file is no result that can be shown",
        where=f"{where}, schema",
        got=repr(schema)[:LONGEST_SHOWN],
        allowed=", ".join(f"airsense.{kind}/1" for kind in KINDS),
        fix="give a file that an airsense command wrote with --json",
    )
