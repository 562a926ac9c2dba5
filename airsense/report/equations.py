"""The equations that results rest on, with where they are written down: a reference table."""

from __future__ import annotations

from airsense.reference import reference_rows


def equations_for(kind: str) -> list[dict[str, str]]:
    """Return `name`, `text` and `source` of each equation that a kind of result rests on."""
    used = "compare" if kind == "demo" else kind
    return [e for e in reference_rows("equations.csv") if used in e["kinds"].split()]
