"""What the weather, the intake, the demand and the sensor each did to the engine's air.

By counterfactual passes: each pass changes one thing more than the one before it, in the order
of the judgement: weather with the old intake, then the intake, then the raised demand, then what
the changed reading makes the controller do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tests.simulate.case import Case
from tests.simulate.engine_model import EngineModel
from tests.simulate.history import History
from tests.simulate.inputs import join, nominal_inputs
from tests.simulate.march import march
from tests.simulate.truth import Truth, change_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """Changes of the engine's air along the nominal sweep, as natural logarithms by part.

    `engine` is what changed of the engine itself between the configurations: drift of breathing
    and of delivery, declared or not. The five add up to the whole.
    """

    engine: Truth
    weather: Truth
    intake: Truth
    demand: Truth
    feedback: Truth
    whole: Truth

    def change(self, part: str, low_rpm: float, high_rpm: float) -> float:
        """Return one part as a plain fraction; (1 + part) multiply to 1 + whole."""
        truth: Truth = getattr(self, part)
        return truth.airflow_change(low_rpm, high_rpm)


# Memory stays below a gigabyte.
CHUNK_CASES = 100
ORDER = ("before", "engine", "weather", "intake", "demand", "feedback")


def counterfactuals(case: Case) -> tuple[Case, ...]:
    """Return the case with nothing planted, then with one part more each time."""
    bare = replace(
        case,
        ambient_temperature_change_k=0.0,
        ambient_pressure_change_pa=0.0,
        restriction_factor=1.0,
        leak_after_compressor=0.0,
        leak_before_compressor=0.0,
        boost_change=0.0,
        skew=0.0,
        skew_shape=0.0,
        pulsation=0.0,
    )
    weather = replace(
        bare,
        ambient_temperature_change_k=case.ambient_temperature_change_k,
        ambient_pressure_change_pa=case.ambient_pressure_change_pa,
    )
    intake = replace(
        weather,
        restriction_factor=case.restriction_factor,
        leak_after_compressor=case.leak_after_compressor,
        leak_before_compressor=case.leak_before_compressor,
    )
    demand = replace(intake, boost_change=case.boost_change)
    return bare, weather, intake, demand, case


def parts_of(engine: EngineModel, cases: Sequence[Case], seed: int) -> list[Parts]:
    """Return the parts of each campaign of `simulate_campaigns` with the same arguments.

    Marched sweeps only: the road model has no loop that could feed back.
    """
    streams = np.random.SeedSequence(seed).spawn(len(cases))
    done: list[Parts] = []
    for start in range(0, len(cases), CHUNK_CASES):
        stop = start + CHUNK_CASES
        done += _chunk(engine, cases[start:stop], streams[start:stop])
    return done


def _chunk(
    engine: EngineModel, cases: Sequence[Case], streams: Sequence[np.random.SeedSequence]
) -> list[Parts]:
    columns = []
    for case, stream in zip(cases, streams, strict=True):
        passes = [
            nominal_inputs(engine, variant, np.random.default_rng(stream))
            for variant in counterfactuals(case)
        ]
        columns += [passes[0].column(0), *(p.column(1) for p in passes)]
    inputs = join(columns)
    history = march(engine, inputs)
    time = history.time_s
    # Nominal passes all sweep at the same time.
    rows = (time >= inputs.sweep_start_s[0]) & (time <= inputs.sweep_end_s[0])
    size = len(ORDER)
    return [_split(history.part(k * size, (k + 1) * size), rows) for k in range(len(cases))]


def _split(history: History, rows: np.ndarray) -> Parts:
    def step(first: int, second: int) -> Truth:
        return change_of(history.part(first, first + 1), history.part(second, second + 1), rows)

    each = {name: step(k, k + 1) for k, name in enumerate(ORDER[1:])}
    return Parts(**each, whole=step(0, len(ORDER) - 1))
