"""A plan from logs and a setup that are read already."""

from __future__ import annotations

from collections.abc import Sequence

from airsense.errors import InputError
from airsense.evidence.planning.resolution import Wish
from airsense.evidence.planning.states import PlannedQuantity
from airsense.jobs.plan import plan_logs
from airsense.jobs.planning.result import PlanResult
from airsense.jobs.planning.words import known
from airsense.logs.log import Log
from airsense.setup.engine import EngineSetup


def plan_in_words(
    logs: Sequence[Log],
    setup: EngineSetup,
    *,
    sensors: Sequence[str],
    still: bool,
    quantity: str,
    wish: Wish,
) -> PlanResult:
    """Return the plan of a test; quantity and sensors in the words of the command line.

    Raises
    ------
    InputError
        If a word cannot be used, or the channels say nothing about the quantity.
    """
    what = _quantity(quantity)
    named = frozenset(known(name) for name in sensors)
    return plan_logs(logs, setup, named=named, still=still, quantity=what, wish=wish)


def _quantity(word: str) -> PlannedQuantity:
    names = [q.value for q in PlannedQuantity]
    if word in names:
        return PlannedQuantity(word)
    raise InputError(
        "unknown quantity",
        where="quantity",
        got=repr(word)[:80],
        allowed=", ".join(names),
        fix="give one of these words",
    )
