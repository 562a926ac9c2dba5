"""Pieces of text that more than one module prints. Survive 60 columns and a pipe."""

from __future__ import annotations

from collections.abc import Iterable

from rich.table import Table

STYLES = {"good": "bold green", "bad": "bold red", "open": "bold yellow", "": "bold"}


def plain_table(*titles: str, right: Iterable[str] = ()) -> Table:
    """Return a table without lines; columns named in `right` are flush right."""
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    flush = set(right)
    for title in titles:
        is_number = title in flush
        table.add_column(
            title,
            justify="right" if is_number else "left",
            no_wrap=is_number,
            overflow="fold",
        )
    return table
