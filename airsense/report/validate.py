"""Whether plain JSON is a result that can be shown: against the schemas that ship with airsense."""

from __future__ import annotations

from typing import Any

from airsense.errors import InputError
from airsense.report.kinds import LONGEST_SHOWN, kind_named, schema_of


def validate(plain: Any, *, where: str) -> None:
    """Raise if `plain` is no result of a kind that is known.

    Raises
    ------
    InputError
        Names the first place that does not fit the schema.
    """
    from jsonschema import Draft202012Validator
    from jsonschema.exceptions import best_match

    name = plain.get("schema") if isinstance(plain, dict) else None
    kind = kind_named(name, where=f"{where}, schema")
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
