"""What the driver and the road ask of the engine: speed, pedal and ignition over time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from airsense.arrays import FloatArray
from tests.simulate.case import Driving
from tests.simulate.engine_model import EngineModel

# Invented: how long a driver holds what.
GRID_S = 0.02
IDLE_PEDAL = 0.0
STEPS = 5
HOLD_S = 16.0
STEP_S = 9.0
NOMINAL_SWEEP_S = 90.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """Time in equal steps from 0; every field of shape (m,).

    `running` is false with the ignition on and the engine still; `fuel_cut` marks overrun.
    """

    time_s: FloatArray
    speed_rpm: FloatArray
    pedal_frac: FloatArray
    running: np.ndarray
    fuel_cut: np.ndarray


@dataclass(slots=True)
class _Plan:
    """Knots of a schedule while it is written."""

    time_s: list[float] = field(default_factory=list)
    speed_rpm: list[float] = field(default_factory=list)
    pedal_frac: list[float] = field(default_factory=list)
    cuts: list[tuple[float, float]] = field(default_factory=list)
    still_until_s: float = 0.0

    @property
    def now_s(self) -> float:
        return self.time_s[-1] if self.time_s else 0.0

    @property
    def speed(self) -> float:
        return self.speed_rpm[-1]

    def go(self, duration_s: float, speed_rpm: float, pedal: float) -> None:
        """Reach a state after a while; the first call takes no time."""
        self.time_s.append(self.now_s + duration_s if self.time_s else 0.0)
        self.speed_rpm.append(speed_rpm)
        self.pedal_frac.append(pedal)

    def press(self, pedal: float, speed_rpm: float | None = None, duration_s: float = 0.3) -> None:
        """Move the pedal, and the speed a little where one is given."""
        self.go(duration_s, self.speed if speed_rpm is None else speed_rpm, pedal)


def schedule(
    engine: EngineModel,
    kind: Driving,
    rng: np.random.Generator,
    *,
    still_s: float,
    idle_s: float,
    drive_s: float,
) -> Schedule:
    """Return what one log holds; sizes in [s].

    Holds and steps take the same speeds before and after, as a brake does; a drive is drawn anew.
    """
    plan = _Plan()
    plan.go(0.0, engine.sweep.idle_rpm, IDLE_PEDAL)
    plan.still_until_s = still_s
    if still_s + idle_s > 0.0:
        plan.go(still_s + idle_s, engine.sweep.idle_rpm, IDLE_PEDAL)
    _WRITERS[kind](engine, plan, rng, drive_s)
    return _sample(plan, rng)


def nominal_sweep(engine: EngineModel) -> Schedule:
    """Return a slow full-load sweep without any roughness: for the truth."""
    sweep = engine.sweep
    time = np.arange(0.0, NOMINAL_SWEEP_S, GRID_S)
    speed = np.linspace(sweep.start_rpm, sweep.end_rpm, time.size)
    whole = np.ones(time.size, dtype=bool)
    return Schedule(
        time_s=time,
        speed_rpm=speed,
        pedal_frac=np.ones(time.size),
        running=whole,
        fuel_cut=~whole,
    )


def hold_speed_rpm(engine: EngineModel) -> float:
    """Return where a load-cell brake holds the engine."""
    return engine.sweep.start_rpm + 0.55 * (engine.sweep.end_rpm - engine.sweep.start_rpm)


def step_speeds_rpm(engine: EngineModel) -> FloatArray:
    """Return the held speeds of a stepped test."""
    start, end = engine.sweep.start_rpm, engine.sweep.end_rpm
    return np.linspace(start + 0.2 * (end - start), end - 0.1 * (end - start), STEPS)


def _hold(engine: EngineModel, plan: _Plan, _rng: np.random.Generator, _drive_s: float) -> None:
    speed = hold_speed_rpm(engine)
    plan.go(1.5, speed, 0.3)
    plan.press(1.0)
    plan.go(HOLD_S, speed, 1.0)


def _steps(engine: EngineModel, plan: _Plan, _rng: np.random.Generator, _drive_s: float) -> None:
    first = True
    for speed in step_speeds_rpm(engine):
        plan.go(1.5, float(speed), 0.4 if first else 1.0)
        if first:
            plan.press(1.0)
        plan.go(STEP_S, float(speed), 1.0)
        first = False
    plan.press(0.1)


def _sweep(engine: EngineModel, plan: _Plan, rng: np.random.Generator, _drive_s: float) -> None:
    sweep = engine.sweep
    plan.go(1.5, sweep.start_rpm, sweep.cruise_pedal)
    plan.go(sweep.lead_in_s, sweep.start_rpm, sweep.cruise_pedal)
    plan.press(1.0)
    plan.go(sweep.settle_s, sweep.start_rpm, 1.0)
    plan.go(sweep.duration_s * rng.normal(1.0, 0.02), sweep.end_rpm, 1.0)
    _overrun(engine, plan, rng)


def _idle(engine: EngineModel, plan: _Plan, _rng: np.random.Generator, _drive_s: float) -> None:
    plan.go(40.0, engine.sweep.idle_rpm, IDLE_PEDAL)


def _drive(engine: EngineModel, plan: _Plan, rng: np.random.Generator, drive_s: float) -> None:
    """String manoeuvres together until the time is up, with each kind of load in each drive."""
    start = plan.now_s
    plan.go(1.0, _within(engine, 0.1), 0.35)
    while plan.now_s - start < drive_s:
        for index in rng.permutation(len(_MANOEUVRES)):
            _MANOEUVRES[index](engine, plan, rng)
            if plan.now_s - start > drive_s:
                break


def _within(engine: EngineModel, share: float) -> float:
    return engine.sweep.start_rpm + share * (engine.sweep.end_rpm - engine.sweep.start_rpm)


def _pull(engine: EngineModel, plan: _Plan, rng: np.random.Generator) -> None:
    """Full pedal through a gear, then the next one: pedal up, speed down by the ratio."""
    low = _within(engine, rng.uniform(0.0, 0.25))
    plan.go(1.5, low, 0.3)
    plan.press(1.0)
    top = _within(engine, rng.uniform(0.6, 0.95))
    plan.go(rng.uniform(4.0, 7.0), top, 1.0)
    plan.press(0.0)
    plan.go(0.5, 0.74 * top, 0.0)
    plan.press(1.0)
    plan.go(rng.uniform(3.0, 5.0), _within(engine, rng.uniform(0.7, 0.95)), 1.0)
    plan.press(0.3)


def _climb(engine: EngineModel, plan: _Plan, rng: np.random.Generator) -> None:
    """Hold a speed against a hill."""
    speed = _within(engine, rng.uniform(0.15, 0.7))
    load = rng.uniform(0.8, 1.0)
    plan.go(1.5, speed, 0.5)
    plan.press(load)
    plan.go(rng.uniform(6.0, 12.0), speed * rng.uniform(0.98, 1.02), load)


def _lug(engine: EngineModel, plan: _Plan, rng: np.random.Generator) -> None:
    """Low speed at high load: where pulsation lives."""
    speed = _within(engine, rng.uniform(-0.02, 0.06))
    plan.go(1.5, speed, 0.4)
    plan.press(rng.uniform(0.9, 1.0))
    plan.go(rng.uniform(4.0, 8.0), speed * 1.05, plan.pedal_frac[-1])


def _cruise(engine: EngineModel, plan: _Plan, rng: np.random.Generator) -> None:
    """Part load that wanders."""
    speed = _within(engine, rng.uniform(0.05, 0.5))
    load = rng.uniform(0.15, 0.55)
    plan.go(1.5, speed, load)
    for _ in range(int(rng.integers(3, 7))):
        speed = max(engine.sweep.idle_rpm * 1.2, speed * rng.uniform(0.95, 1.05))
        plan.go(
            rng.uniform(3.0, 5.0), speed, float(np.clip(load + rng.normal(0.0, 0.08), 0.05, 0.7))
        )


def _overrun(engine: EngineModel, plan: _Plan, rng: np.random.Generator) -> None:
    """Pedal up, fuel cut, speed falls."""
    plan.press(0.0)
    began = plan.now_s
    down = max(plan.speed * rng.uniform(0.6, 0.75), 1.5 * engine.sweep.idle_rpm)
    plan.go(rng.uniform(3.0, 6.0), down, 0.0)
    plan.cuts.append((began, plan.now_s))


def _stop(engine: EngineModel, plan: _Plan, rng: np.random.Generator) -> None:
    plan.go(2.0, engine.sweep.idle_rpm, IDLE_PEDAL)
    plan.go(rng.uniform(8.0, 15.0), engine.sweep.idle_rpm, IDLE_PEDAL)
    plan.go(2.5, _within(engine, 0.05), 0.35)


_MANOEUVRES = (_pull, _climb, _lug, _cruise, _cruise, _overrun, _stop)
_Writer = Callable[[EngineModel, _Plan, np.random.Generator, float], None]
_WRITERS: dict[Driving, _Writer] = {
    Driving.SWEEP: _sweep,
    Driving.HOLD: _hold,
    Driving.STEPS: _steps,
    Driving.DRIVE: _drive,
    Driving.IDLE: _idle,
}


def _sample(plan: _Plan, rng: np.random.Generator) -> Schedule:
    """Return the plan on the grid, with the small roughness of a real crankshaft and foot."""
    time = np.arange(0.0, plan.now_s, GRID_S)
    speed = np.interp(time, plan.time_s, plan.speed_rpm)
    slow = np.interp(time, np.arange(0.0, plan.now_s + 2.0, 1.0), _rough(plan.now_s, rng))
    running = time >= plan.still_until_s
    pedal = np.interp(time, plan.time_s, plan.pedal_frac)
    cut = np.zeros(time.size, dtype=bool)
    for began, ended in plan.cuts:
        cut |= (time >= began) & (time <= ended)
    return Schedule(
        time_s=time,
        speed_rpm=np.where(running, speed * (1.0 + 0.003 * slow), 0.0),
        pedal_frac=pedal,
        running=running,
        fuel_cut=cut,
    )


def _rough(length_s: float, rng: np.random.Generator) -> FloatArray:
    knots = np.arange(0.0, length_s + 2.0, 1.0)
    return rng.standard_normal(knots.size)
