"""The march through time of all runs at once."""

from __future__ import annotations

import numpy as np

from tests.simulate.engine_model import EngineModel
from tests.simulate.history import History
from tests.simulate.inputs import Inputs
from tests.simulate.stepper import Stepper

# Settles before the log begins; a step far below the shortest lag; a record of every other one.
PREROLL_S = 2.5
STEP_S = 0.01
RECORD_S = 0.02


def duration_s(engine: EngineModel, inputs: Inputs) -> float:
    """Return the time at which the last run has ended. [s]"""
    return float(inputs.sweep_end_s.max()) + engine.sweep.lift_off_s


def march(
    engine: EngineModel,
    inputs: Inputs,
    *,
    step_s: float = STEP_S,
    record_s: float = RECORD_S,
) -> History:
    """Integrate all runs from before the lead-in to the end of the lift-off.

    Parameters
    ----------
    engine : EngineModel
    inputs : Inputs
        One column a run.
    step_s, record_s : float
        Time step, and spacing of what is kept (a multiple of the step). [s]

    Returns
    -------
    History
        From time 0 (start of the log) on.
    """
    every = max(1, round(record_s / step_s))
    rows = int(np.ceil(duration_s(engine, inputs) / (every * step_s)))
    time_s = np.arange(1, rows + 1, dtype=np.float64) * (every * step_s)
    history = History.empty(time_s, inputs.count)
    stepper = Stepper(engine, inputs, step_s)
    for index in range(1 - round(PREROLL_S / step_s), rows * every + 1):
        now = stepper.step(index * step_s)
        if index > 0 and index % every == 0:
            history.write(index // every - 1, now)
    return history
