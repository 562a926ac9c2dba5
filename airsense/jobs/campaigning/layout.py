"""How the runs of a campaign are laid out: configurations, pairs, sessions, order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.stats import rankdata

from airsense.arrays import FloatArray
from airsense.estimates import maf
from airsense.estimates.run import Run
from airsense.evidence.matched import ENGINE_DOF, ENGINE_RUN, Matched
from airsense.evidence.run_order import Laid, OrderDrift, drift_in_change, tells_drift
from airsense.evidence.spool_up import Trace, traces
from airsense.jobs.comparison.circumstances import weather_of
from airsense.jobs.comparison.given import INTAKE, TUNE
from airsense.jobs.observe import Observations
from airsense.setup.campaign import Campaign
from airsense.setup.engine import EngineSetup

# Known weather is taken out before drift is looked for, with exponents in the middle of what laws
# of boost control give; within a session the weather moves by little.
WEATHER_P, WEATHER_T = 0.5, -0.85


@dataclass(frozen=True, slots=True)
class Configuration:
    """An intake at a tune."""

    intake: str
    tune: str

    @property
    def name(self) -> str:
        """The words for a configuration, as the role of its logs."""
        return f"{self.intake}, {self.tune}" if self.tune else self.intake


@dataclass(frozen=True, slots=True)
class Pairing:
    """Two configurations, `before` being the reference."""

    before: Configuration
    after: Configuration

    @property
    def question(self) -> str:
        """Whether the pair asks for the intake or for the tune."""
        return INTAKE if self.before.intake != self.after.intake else TUNE


@dataclass(frozen=True, kw_only=True)
class Layout:
    """A campaign with what was observed, and what follows from both.

    `without` are the places of runs that no answer is made of.
    """

    campaign: Campaign
    seen: Observations
    setup: EngineSetup
    rpm: tuple[float, float] | None
    margin: float
    without: tuple[int, ...] = ()

    @cached_property
    def configurations(self) -> tuple[Configuration, ...]:
        """All configurations in file order."""
        return tuple(dict.fromkeys(self.of_run))

    @cached_property
    def of_run(self) -> tuple[Configuration, ...]:
        """The configuration that each run shows."""
        return tuple(Configuration(r.intake, r.tune) for r in self.campaign.run)

    @cached_property
    def pairings(self) -> tuple[Pairing, ...]:
        """Every intake against the baseline of its tune.

        A tune at which only the baseline was run is held against the baseline's first tune.
        """
        found, baseline = [], self.campaign.baseline
        tunes = self.campaign.tunes()
        for tune in tunes:
            here = Configuration(baseline, tune)
            others = [c for c in self.configurations if c.tune == tune and c.intake != baseline]
            found += [Pairing(here, c) for c in others]
            if not others and tune != tunes[0]:
                found.append(Pairing(Configuration(baseline, tunes[0]), here))
        return tuple(found)

    def numbers(self, configuration: Configuration) -> tuple[int, ...]:
        """Return the places of a configuration's runs in the campaign."""
        own = (k for k, c in enumerate(self.of_run) if c == configuration)
        return tuple(k for k in own if k not in self.without)

    @cached_property
    def traces(self) -> tuple[Trace, ...]:
        """The runs with the air flow that a load step is shown with."""
        return traces(self.seen.runs, self.setup, self.seen.sizes)

    @cached_property
    def matched(self) -> Matched | None:
        """Full load that all runs share: for figures, and for drift from run to run."""
        first = self.configurations[0]
        kept = [k for k in range(len(self.of_run)) if k not in self.without]
        return self.seen.matched(kept, [self.of_run[k] != first for k in kept], self.rpm)

    @cached_property
    def laid(self) -> Laid | None:
        """How the runs follow each other; None where no order is declared."""
        declared = [r.order for r in self.campaign.run]
        if any(o is None for o in declared):
            return None
        names = [r.session for r in self.campaign.run]
        session = np.array([list(dict.fromkeys(names)).index(n) for n in names])
        order = np.asarray(declared, dtype=np.float64)
        for k in range(int(session.max()) + 1):
            order[session == k] = rankdata(order[session == k])
        cell = np.array([self.configurations.index(c) for c in self.of_run])
        return Laid(cell=cell, session=session, order=order)

    def one_session(self, pairing: Pairing) -> bool:
        """Return whether both configurations were run on one day: the session, or the order, says.

        Without a session, a configuration that was gone back to vouches for the day.
        """
        own = self.numbers(pairing.before) + self.numbers(pairing.after)
        sessions = {self.campaign.run[k].session for k in own}
        if len(sessions) > 1:
            return False
        return sessions != {""} or (self.laid is not None and self.told(pairing))

    def told(self, pairing: Pairing) -> bool:
        """Return whether the order tells drift from the configuration; False without an order."""
        if self.laid is None:
            return False
        everything = np.ones(len(self.of_run), dtype=bool)
        return tells_drift(self.laid, self._weights(pairing, everything))

    def drift(self, pairing: Pairing) -> OrderDrift | None:
        """Return how much of a pair's change is drift, and how well the rest is known.

        None where no order is declared, or where no full load is shared that would show it.
        """
        matched = self.matched
        if self.laid is None or matched is None:
            return None
        at = np.array(matched.run_of)
        there = np.zeros(len(self.of_run), dtype=bool)
        there[at] = True
        weights = self._weights(pairing, there)[at]
        if not (weights > 0.0).any() or not (weights < 0.0).any():
            return None
        laid = Laid(
            cell=_renumbered(self.laid.cell[at]),
            session=_renumbered(self.laid.session[at]),
            order=self.laid.order[at],
        )
        maf_run = matched.sizes.mass_air_flow.run
        return drift_in_change(
            _levels(matched) - _weather([self.seen.runs[k] for k in at]),
            laid,
            weights,
            run=float(np.hypot(ENGINE_RUN, maf_run)),
            dof=ENGINE_DOF,
        )

    def _weights(self, pairing: Pairing, there: np.ndarray) -> FloatArray:
        """Return the weights that make a pair's change of run levels, (n_runs,)."""
        weights = np.zeros(len(self.of_run))
        for configuration, sign in ((pairing.before, -1.0), (pairing.after, 1.0)):
            own = [k for k in self.numbers(configuration) if there[k]]
            weights[own] = sign / max(len(own), 1)
        return weights

    def depression_pa(self, intake: str) -> float | None:
        """Return the declared depression of an intake. [Pa]"""
        declared = self.campaign.declared(intake).depression_kpa
        return None if declared is None else declared * 1e3

    def bore_m(self, intake: str) -> float | None:
        """Return the declared bore of an intake. [m]"""
        declared = self.campaign.declared(intake).bore_mm
        return None if declared is None else declared * 1e-3


def _levels(matched: Matched) -> FloatArray:
    """Return ln(flow) of each run over the bins that all fill, (n_flows, n_runs)."""
    rows = []
    for name, ln in matched.table.ln.items():
        use = matched.filled & np.isfinite(ln).all(axis=0)
        if use.any() or name == maf.METHOD:
            rows.append(ln[:, use].mean(axis=1))
    return np.array(rows)


def _weather(runs: Sequence[Run]) -> FloatArray:
    """Return what the known weather does to ln(flow) of each run, (n_runs,); zero if unknown."""
    rows = [weather_of(run) for run in runs]
    p = [r.p_ambient_pa for r in rows]
    t = [r.t_ambient_k for r in rows]
    out = np.zeros(len(rows))
    if all(v is not None for v in p):
        out += WEATHER_P * np.log(np.array(p, dtype=np.float64))
    if all(v is not None for v in t):
        out += WEATHER_T * np.log(np.array(t, dtype=np.float64))
    return out


def _renumbered(labels: np.ndarray) -> np.ndarray:
    return np.unique(labels, return_inverse=True)[1].reshape(-1)
