"""How the repeats of a campaign are laid out: configurations, pairs, order, design."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from airsense.estimates import maf
from airsense.evidence.run_order import OrderedDesign, design_of_pair, drift_per_run
from airsense.evidence.spool_up import Trace, traces
from airsense.evidence.student import COVERAGE
from airsense.jobs.pairing import Ready
from airsense.results import Interval
from airsense.setup.campaign import Campaign
from airsense.setup.engine import EngineSetup

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Cell:
    """One configuration: an intake at a tune."""

    intake: str
    tune: str


@dataclass(frozen=True, slots=True)
class Pairing:
    """Two configurations of one tune, `before` being the reference."""

    before: Cell
    after: Cell


@dataclass(frozen=True, kw_only=True)
class Layout:
    """A campaign with its binned repeats, and what follows from both."""

    campaign: Campaign
    ready: Ready
    setup: EngineSetup
    margin: float

    @cached_property
    def cells(self) -> tuple[Cell, ...]:
        """All configurations in file order."""
        return tuple(dict.fromkeys(Cell(r.intake, r.tune) for r in self.campaign.run))

    @cached_property
    def cell(self) -> NDArray[np.intp]:
        """Index of the configuration that each repeat shows."""
        of_run = [self.cells.index(Cell(r.intake, r.tune)) for r in self.campaign.run]
        return np.array([of_run[k] for k in self.ready.run_of_segment])

    @cached_property
    def order(self) -> FloatArray | None:
        """Order of each repeat; the pulls of one log share out the step to the next log."""
        declared = [r.order for r in self.campaign.run]
        owner = self.ready.run_of_segment
        if any(o is None for o in declared):
            return None
        within = [owner[:k].count(own) / owner.count(own) for k, own in enumerate(owner)]
        return np.array([declared[own] for own in owner], dtype=np.float64) + within

    @cached_property
    def pairings(self) -> tuple[Pairing, ...]:
        """Every intake against the baseline of its tune, then the others against each other."""
        found = []
        for tune in self.campaign.tunes():
            names = self.campaign.intakes(tune)
            ordered = [(a, b) for k, a in enumerate(names) for b in names[k + 1 :]]
            found += [Pairing(Cell(a, tune), Cell(b, tune)) for a, b in ordered]
        return tuple(found)

    @cached_property
    def coverage(self) -> float:
        """Coverage of each pair (Sidak) that makes all of them hold together at 95 %."""
        return float(COVERAGE ** (1.0 / len(self.pairings)))

    @cached_property
    def traces(self) -> tuple[Trace, ...]:
        """The runs with the air flow that a load step is shown with."""
        return traces(self.ready.runs, self.setup, self.ready.sizes)

    @cached_property
    def drift(self) -> Interval | None:
        """Drift of the indicated flow a run; None if the order is unknown or cannot tell it."""
        if self.order is None:
            return None
        means = np.nanmean(self.ready.table.ln[maf.METHOD], axis=1)
        return drift_per_run(means, self.cell, self.order)

    @property
    def drifts(self) -> bool:
        """Whether a drift with order is seen."""
        return self.drift is not None and not self.drift.contains(0.0)

    def design(self, pairing: Pairing) -> OrderedDesign:
        """Return the design of a pair from all repeats."""
        return design_of_pair(
            self.cell,
            self.order,
            before=self.cells.index(pairing.before),
            after=self.cells.index(pairing.after),
            drifts=self.drifts,
        )

    def repeats(self, cell: Cell) -> NDArray[np.bool_]:
        """Return which repeats show a configuration, shape (n_repeats,)."""
        return np.asarray(self.cell == self.cells.index(cell))

    def runs(self, cell: Cell) -> list[int]:
        """Return the places of a configuration's runs in the campaign."""
        return [k for k, r in enumerate(self.campaign.run) if Cell(r.intake, r.tune) == cell]

    def depression_pa(self, cell: Cell) -> float | None:
        """Return the largest depression of a configuration, declared or logged. [Pa]"""
        declared = self.campaign.declared(cell.intake).depression_kpa
        if declared is not None:
            return declared * 1e3
        logged = np.abs(self.ready.table.state["depression_pa"][self.repeats(cell)])
        return float(np.nanmax(logged)) if np.isfinite(logged).any() else None
