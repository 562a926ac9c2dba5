"""What each kind of result says, as blocks; one module a kind, `classic` for the others."""

from __future__ import annotations

import importlib
from typing import Any

from airsense.report.blocks import Block
from airsense.report.node import node_of
from airsense.report.units_shown import shown_for

# Kinds with a module of their own here.
IN_BLOCKS = ("audit", "channels", "check", "compare", "demo", "rescale")


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
    name = node.result_kind if node.result_kind in IN_BLOCKS else "classic"
    module = importlib.import_module(f"airsense.report.says.{name}")
    found: tuple[Block, ...] = module.blocks(node, shown_for(node, units))
    return found
