"""A result as the report sees it: the plain JSON with attribute access, by its schema.

Page, figures and text all read this view, so that a result fresh from a job and one read back
from a file give the same output. A key that the schema does not know is an error, whatever the
data hold: a misspelt one would otherwise vanish from the page without a word.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from airsense.report.as_json import to_plain
from airsense.report.kinds import kind_named, schema_of
from airsense.results import Interval

_INTERVAL_KEYS = frozenset({"value", "low", "high"})


class UnknownKeyError(AttributeError):
    """A key that results of this kind do not have."""


class Node:
    """Read-only view of a JSON object: null and absent optional keys read as None."""

    __slots__ = ("_data", "_kind", "_optional", "_properties")

    def __init__(self, data: dict[str, Any], kind: str, schema: dict[str, Any]) -> None:
        self._data = data
        self._kind = kind
        self._properties: dict[str, Any] = {}
        required: set[str] = set()
        for shape in _shapes(schema, kind):
            self._properties |= shape.get("properties", {})
            required |= set(shape.get("required", ()))
        self._optional = self._properties.keys() - required

    def __getattr__(self, name: str) -> Any:
        """Return the value of a key: objects as Node, arrays as tuple, intervals as Interval.

        Raises
        ------
        UnknownKeyError
            If the schema does not know the key, or requires it and it is missing.
        """
        if name.startswith("__"):
            raise AttributeError(name)
        return self[name]

    def __getitem__(self, name: str) -> Any:
        """Return the value of a key that is no Python name, such as `from`."""
        if name not in self._properties:
            raise UnknownKeyError(f"a result of airsense {self._kind} has no key {name!r}")
        if name not in self._data and name not in self._optional:
            raise UnknownKeyError(f"a result of airsense {self._kind} lacks its key {name!r}")
        return _view(self._data.get(name), self._kind, self._properties[name])

    def __contains__(self, name: str) -> bool:
        """Return whether the schema knows a key: for what some kinds of result lack."""
        return name in self._properties

    @property
    def result_kind(self) -> str:
        """The kind of result, such as 'compare'."""
        return self._kind


def node_of(result: Any) -> Node:
    """Return the view of a result, of its plain JSON object, or of a view.

    Raises
    ------
    InputError
        If it is no result of a kind and form that is known.
    """
    if isinstance(result, Node):
        return result
    plain = to_plain(result)
    kind = kind_named(plain.get("schema") if isinstance(plain, dict) else None)
    return Node(plain, kind, schema_of(kind))


def _shapes(schema: dict[str, Any], kind: str) -> Iterator[dict[str, Any]]:
    """Yield the forms that a value may have, references followed."""
    if "$ref" in schema:
        name = schema["$ref"].rpartition("/")[2]
        yield from _shapes(schema_of(kind)["$defs"][name], kind)
    elif "anyOf" in schema:
        for part in schema["anyOf"]:
            yield from _shapes(part, kind)
    else:
        yield schema


def _view(value: Any, kind: str, schema: dict[str, Any]) -> Any:
    if isinstance(value, dict):
        if value.keys() == _INTERVAL_KEYS:
            return Interval(*(_number(value[key]) for key in ("value", "low", "high")))
        if "schema" in value:
            kind = kind_named(value["schema"])
            schema = schema_of(kind)
        return Node(value, kind, schema)
    if isinstance(value, list):
        (items, *_) = [s["items"] for s in _shapes(schema, kind) if "items" in s] or [{}]
        return tuple(_view(item, kind, items) for item in value)
    return value


def _number(value: float | None) -> float:
    return float("nan") if value is None else value
