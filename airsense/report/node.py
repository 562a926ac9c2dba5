"""A result as the report sees it: the plain JSON with attribute access.

Page, figures and text all read this view, so that a result fresh from a job and one read back
from a file give the same output.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from airsense.report.as_json import to_plain
from airsense.results import Interval

_INTERVAL_KEYS = frozenset({"value", "low", "high"})


class Node:
    """Read-only view of a JSON object; a missing key reads as None, as does null."""

    __slots__ = ("_data",)

    def __init__(self, data: dict[str, Any]) -> None:
        self._data = data

    def __getattr__(self, name: str) -> Any:
        """Return the value of a key: objects as Node, arrays as tuple, intervals as Interval."""
        if name.startswith("__"):
            raise AttributeError(name)
        return _view(self._data.get(name))

    def __getitem__(self, name: str) -> Any:
        """Return the value of a key that is no Python name, such as `from`."""
        return _view(self._data.get(name))

    def __iter__(self) -> Iterator[str]:
        """Yield the keys."""
        return iter(self._data)


def node_of(result: Any) -> Node:
    """Return the view of a result, of its plain JSON object, or of a view."""
    if isinstance(result, Node):
        return result
    return Node(to_plain(result))


def _view(value: Any) -> Any:
    if isinstance(value, dict):
        if value.keys() == _INTERVAL_KEYS:
            return Interval(*(_number(value[key]) for key in ("value", "low", "high")))
        return Node(value)
    if isinstance(value, list):
        return tuple(_view(item) for item in value)
    return value


def _number(value: float | None) -> float:
    return float("nan") if value is None else value


def kind_of(result: Node) -> str:
    """Return the kind of a result: 'compare' of 'airsense.compare/1'."""
    return str(result.schema).partition("/")[0].rpartition(".")[2]
