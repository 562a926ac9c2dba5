"""Plain values as TOML text; the standard library only reads it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any


def toml_text(data: Mapping[str, Any]) -> str:
    """Return a mapping of texts, numbers, truth values, lists and mappings as TOML."""
    return "".join(_section(data, ()))


def _section(
    data: Mapping[str, Any], path: tuple[str, ...], *, item: bool = False
) -> Iterator[str]:
    deeper = {k: v for k, v in data.items() if isinstance(v, Mapping) or _is_rows(v)}
    plain = {k: v for k, v in data.items() if k not in deeper}
    if path and (plain or item or not deeper):
        name = ".".join(map(_quoted, path))
        yield f"\n[[{name}]]\n" if item else f"\n[{name}]\n"
    for key, value in plain.items():
        yield f"{_quoted(key)} = {_value(value)}\n"
    for key, value in deeper.items():
        rows = value if _is_rows(value) else (value,)
        for row in rows:
            yield from _section(row, (*path, key), item=rows is value)


def _is_rows(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(v, Mapping) for v in value)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    return str(value)  # a number, a date or a time


def _quoted(text: str) -> str:
    # A text of JSON is a basic string of TOML, but for one control character.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
