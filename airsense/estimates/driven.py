"""A run with what was driven in it: what a route needs to say where it holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import BoolArray
from airsense.estimates.recirculation import ValveShut
from airsense.estimates.run import Run
from airsense.estimates.segments import Kind, KindArray, Segmented


@dataclass(frozen=True, slots=True, kw_only=True)
class Driven:
    """A run, its stretches, where its recirculation valve is shut, and whether it is a sweep.

    `shut` is None where no manifold pressure tells it; `sweep` says that the pulls are full-load
    sweeps and not parts of a drive.
    """

    run: Run
    found: Segmented
    shut: ValveShut | None
    sweep: bool

    @property
    def kind(self) -> KindArray:
        """What was driven at each sample, (n,)."""
        return self.found.kind

    @property
    def pulled(self) -> BoolArray:
        """Where a full-load sweep was driven, (n,)."""
        return np.asarray((self.kind == Kind.PULL) & self.sweep)


def everywhere(driven: Driven) -> BoolArray:
    """Return that a route holds at every sample, (n,)."""
    return np.ones(driven.kind.size, dtype=bool)
