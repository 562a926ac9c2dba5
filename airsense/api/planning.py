"""A plan from logs and a setup that are read already."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from airsense.errors import InputError
from airsense.evidence.planning import Wish
from airsense.evidence.planning_channels import (
    STILL,
    USUAL_CHANNELS,
    template_for,
    with_channels,
)
from airsense.evidence.planning_states import PlannedQuantity
from airsense.jobs import plan as job
from airsense.jobs.observe import input_file, make_runs
from airsense.jobs.pilot import channels_of, pilot_of, rest_of
from airsense.jobs.plan_result import PlanResult
from airsense.jobs.plan_words import assumptions, known
from airsense.logs.log import Log
from airsense.setup.engine import EngineSetup

ROLE = "pilot log"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the test is for and what it will have; fractions."""

    sensors: tuple[str, ...]
    still: bool
    quantity: str
    change: float
    power: float
    confidence: float

    def what(self) -> PlannedQuantity:
        """Return the quantity.

        Raises
        ------
        InputError
            If there is no such quantity.
        """
        names = [q.value for q in PlannedQuantity]
        if self.quantity in names:
            return PlannedQuantity(self.quantity)
        raise InputError(
            "unknown quantity",
            where="quantity",
            got=repr(self.quantity)[:80],
            allowed=", ".join(names),
            fix="give one of these words",
        )


def plan_logs(logs: Sequence[Log], setup: EngineSetup, asked: Asked) -> PlanResult:
    """Return the plan of a test; as `airsense.jobs.plan.run`, from logs.

    Raises
    ------
    InputError
        If a name cannot be used, or the channels say nothing about the quantity.
    """
    quantity = asked.what()
    named = frozenset(known(name) for name in asked.sensors)
    runs = make_runs(logs, setup) if logs else ()
    pilot = pilot_of(runs, setup) if runs else None
    logged = channels_of(runs) if runs else frozenset()
    later = frozenset({STILL}) if asked.still else frozenset()
    usual = named or frozenset({*USUAL_CHANNELS, *setup.channels})
    channels = named | logged if runs else usual
    if pilot is None:
        template = template_for(channels | later, setup)
    else:
        there = logged | rest_of(pilot)
        template = with_channels(pilot, there, (named | later) - there, setup)
        later |= rest_of(pilot)
    channels |= later
    wish = Wish(change=asked.change, power=asked.power, confidence=asked.confidence)
    return replace(
        job.plan(template, channels, setup, quantity=quantity, wish=wish),
        assumptions=assumptions(channels, len(runs), declared=bool(named or logs)),
        inputs=tuple(input_file(run, ROLE) for run in runs),
    )
