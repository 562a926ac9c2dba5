"""All that a pair needs: which runs of the observations, and what was declared."""

from __future__ import annotations

from dataclasses import dataclass

from airsense.evidence.matched import LnChange, Matched
from airsense.evidence.priors import PriorTable
from airsense.evidence.spool_up import SpoolUp
from airsense.evidence.verdict import DEFAULT_MARGIN
from airsense.jobs.observe import Observations
from airsense.setup.engine import EngineSetup
from airsense.setup.measured import Measured

INTAKE, TUNE = "intake", "tune"


@dataclass(frozen=True, slots=True, kw_only=True)
class PairInput:
    """All that a pair needs: which runs of the observations, and what was declared.

    `drift` is what in the indicated change is drift and scatter of the runs by their order; the
    intake's part rests on the change less its value, with its uncertainty.
    """

    seen: Observations
    before: tuple[int, ...]
    after: tuple[int, ...]
    setup: EngineSetup
    table: PriorTable
    intake: str = "after"
    tune: str = ""
    baseline: str = "before"
    question: str = INTAKE
    one_session: bool = False
    margin: float = DEFAULT_MARGIN
    rpm: tuple[float, float] | None = None
    depression_pa: tuple[float | None, float | None] = (None, None)
    bore_before_m: float | None = None
    spool_up: SpoolUp | None = None
    drift: LnChange | None = None
    measured: tuple[Measured, ...] = ()

    @property
    def configurations(self) -> dict[str, bool]:
        """Names of the two configurations, and whether each is the second one."""
        return {self.baseline: False, self.intake: True}

    @property
    def numbers(self) -> list[int]:
        """Runs of both configurations, rising."""
        return sorted((*self.before, *self.after))

    @property
    def is_after(self) -> list[bool]:
        """Whether each of `numbers` shows the second configuration."""
        return [k in self.after for k in self.numbers]

    def matched(self) -> Matched | None:
        """Return the full load that both configurations share."""
        return self.seen.matched(self.numbers, self.is_after, self.rpm)
