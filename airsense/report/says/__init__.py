"""What each kind of result says, as blocks; one module a kind."""

from __future__ import annotations

import importlib
from typing import Any

from airsense.report.blocks import Block
from airsense.report.node import node_of
from airsense.report.units_shown import shown_for


def blocks(result: Any, units: str | None = None) -> tuple[Block, ...]:
    """Return what a result says, most important first; `level` decides what one screen shows.

    Parameters
    ----------
    result : dataclass, dict or Node
        A result, or its plain JSON object.
    units : str, optional
        "si" or "us"; without it, the units in which the logs were written.

    Raises
    ------
    InputError
        If it is no result of a kind and form that is known.
    """
    node = node_of(result)
    module = importlib.import_module(f"airsense.report.says.{node.result_kind}")
    found: tuple[Block, ...] = module.blocks(node, shown_for(node, units))
    return found
