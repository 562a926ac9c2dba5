"""Before/after campaigns: many at once, with their truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from airsense.logs.log import Log
from airsense.setup.engine import EngineSetup, TemperaturePlace
from tests.simulate.case import Case
from tests.simulate.engine_model import EngineModel
from tests.simulate.inputs import Inputs, join, nominal_inputs, run_inputs
from tests.simulate.march import STEP_S, duration_s, march
from tests.simulate.road.campaign import Driven, simulate_road
from tests.simulate.sampling import sample_logs
from tests.simulate.standing import with_preamble
from tests.simulate.truth import Truth, truth_of

__all__ = ["Case", "SimulatedCampaign", "Truth", "simulate_campaigns"]

# Columns marched together: enough to hide the cost of a call, few enough to stay in the cache.
CHUNK_COLUMNS = 640


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedCampaign:
    """Logs of both configurations, what the user declares, and what is true.

    `driven` is there for what the road model made: the truth over all that was driven.
    """

    engine: EngineModel
    case: Case
    before: list[Log]
    after: list[Log]
    setup: EngineSetup
    truth: Truth
    driven: Driven | None = None

    def surplus(self, low_rpm: float, high_rpm: float) -> float:
        """Return the true surplus: over all that was driven where that has no matched full load,
        else over the window.
        """
        if self.driven is not None and not self.case.at_full_load:
            return self.driven.indicated_surplus
        return self.truth.surplus(low_rpm, high_rpm)

    def skew(self, low_rpm: float, high_rpm: float) -> float:
        """Return the true change of the sensor's reading, as `surplus` does."""
        if self.driven is not None and not self.case.at_full_load:
            return self.driven.sensor_skew
        return self.truth.skew(low_rpm, high_rpm)


def simulate_campaigns(
    engine: EngineModel, cases: Sequence[Case], seed: int, *, step_s: float = STEP_S
) -> list[SimulatedCampaign]:
    """Simulate a campaign for each case.

    Parameters
    ----------
    engine : EngineModel
    cases : sequence of Case
    seed : int
        Each campaign draws from its own stream (seed, position), so that a campaign stays the
        same when others are added behind it.
    step_s : float
        Time step of the march. [s]

    Returns
    -------
    list of SimulatedCampaign
        In the order of `cases`.
    """
    streams = np.random.SeedSequence(seed).spawn(len(cases))
    done: list[SimulatedCampaign] = []
    start = columns = 0
    for stop, case in enumerate(cases, start=1):
        if case.on_road:
            done += _chunk(engine, cases[start : stop - 1], streams[start : stop - 1], step_s)
            done.append(_road(engine, case, streams[stop - 1]))
            start, columns = stop, 0
            continue
        columns += case.n_runs + 2
        if columns >= CHUNK_COLUMNS or stop == len(cases):
            done += _chunk(engine, cases[start:stop], streams[start:stop], step_s)
            start, columns = stop, 0
    return done


def _road(engine: EngineModel, case: Case, stream: np.random.SeedSequence) -> SimulatedCampaign:
    made = simulate_road(engine, case, stream)
    return SimulatedCampaign(
        engine=engine,
        case=case,
        before=list(made.logs[: case.n_before]),
        after=list(made.logs[case.n_before :]),
        setup=engine.setup(place=_place(case)),
        truth=made.truth,
        driven=made.driven,
    )


def _chunk(
    engine: EngineModel,
    cases: Sequence[Case],
    streams: Sequence[np.random.SeedSequence],
    step_s: float,
) -> list[SimulatedCampaign]:
    if not cases:
        return []
    parts: list[Inputs] = []
    generators: list[np.random.Generator] = []
    for case, stream in zip(cases, streams, strict=True):
        # The same stream twice: both passes share what belongs to the campaign.
        parts.append(nominal_inputs(engine, case, np.random.default_rng(stream)))
        generators.append(np.random.default_rng(stream))
        parts.append(run_inputs(engine, case, generators[-1]))
    history = march(engine, join(parts), step_s=step_s)
    done: list[SimulatedCampaign] = []
    column = 0
    for index, case in enumerate(cases):
        nominal, runs = parts[2 * index], parts[2 * index + 1]
        truth = truth_of(history.part(column, column + 2), nominal)
        column += 2
        own = history.part(column, column + runs.count, end_s=duration_s(engine, runs))
        column += runs.count
        logs = sample_logs(
            engine,
            case,
            *with_preamble(engine, case, own, runs, generators[index]),
            generators[index],
        )
        done.append(
            SimulatedCampaign(
                engine=engine,
                case=case,
                before=logs[: case.n_before],
                after=logs[case.n_before :],
                setup=engine.setup(place=_place(case)),
                truth=truth,
            )
        )
    return done


def _place(case: Case) -> TemperaturePlace:
    if case.log_charge_temperature:
        return TemperaturePlace.AFTER_COOLER
    return TemperaturePlace.BEFORE_COMPRESSOR
