"""The kinds of result that can be shown: one schema that ships for each."""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from typing import Any

from airsense.errors import InputError

# As much of a wrong name as a message holds.
LONGEST_SHOWN = 120
_FOLDER = resources.files("airsense.report") / "schema"
KINDS = tuple(sorted(file.name.removesuffix(".json") for file in _FOLDER.iterdir()))


@cache
def schema_of(kind: str) -> dict[str, Any]:
    """Return the JSON schema of a kind of result."""
    found: dict[str, Any] = json.loads((_FOLDER / f"{kind}.json").read_text(encoding="utf-8"))
    return found


def name_of(kind: str) -> str:
    """Return what a result of a kind says in `schema`, such as 'airsense.check/1'."""
    return str(schema_of(kind)["properties"]["schema"]["const"])


def kind_named(name: object, *, where: str = "schema") -> str:
    """Return the kind of result that calls itself `name`.

    Raises
    ------
    InputError
        If it is none of ours, or one of an older or newer form.
    """
    title, _, form = str(name).partition("/")
    kind = title.removeprefix("airsense.")
    if not isinstance(name, str) or kind not in KINDS or not title.startswith("airsense."):
        raise InputError(
            "this is no result that can be shown: there is no page for it",
            where=where,
            got=repr(name)[:LONGEST_SHOWN],
            allowed=", ".join(map(name_of, KINDS)),
            fix="give what an airsense command wrote with --json",
        )
    if name != name_of(kind):
        older = form.isdecimal() and int(form) < int(name_of(kind).partition("/")[2])
        raise InputError(
            f"the result is of {'an older' if older else 'another'} form: "
            "it has to be made again from its logs",
            where=where,
            got=name[:LONGEST_SHOWN],
            allowed=name_of(kind),
            fix=f"run airsense {kind} again with this version",
        )
    return kind
