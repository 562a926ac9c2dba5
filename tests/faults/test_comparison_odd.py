"""A bad log among good ones is named with the reason of a workshop; a good one is not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from airsense.jobs.comparison.odd import left_out, odd_logs, outvoted
from airsense.jobs.observe import make_runs, observe
from airsense.logs.log import Channel, Log
from airsense.setup.engine import EngineSetup
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case, own_channels
from tests.simulate.engines import ENGINES, TURBO_DIESEL

pytestmark = pytest.mark.slow

GROUPS = ("before",) * 3 + ("after",) * 3
BAD = 4


@pytest.fixture(scope="module")
def clean() -> SimulatedCampaign:
    return simulate_campaigns(TURBO_DIESEL, [own_channels(Case(skew=0.04))], 21)[0]


def odd_of(logs: list[Log], setup: EngineSetup) -> tuple[str, ...]:
    runs = make_runs(logs, setup)
    return odd_logs(observe(runs, setup, [False] * len(runs)), GROUPS, setup.engine)


def with_bad(clean: SimulatedCampaign, spoil: Callable[[Log], Log]) -> tuple[str, ...]:
    logs = [*clean.before, *clean.after]
    logs[BAD] = spoil(logs[BAD])
    return odd_of(logs, clean.setup)


def changed(log: Log, name: str, move: Callable[[Channel], np.ndarray]) -> Log:
    return replace(log, channels={**log.channels, name: replace(log[name], value=move(log[name]))})


def place_in_pull(log: Log, share: float) -> float:
    """Return the time at a share of the rise of speed."""
    speed = log["engine_speed"]
    top = int(np.argmax(speed.value))
    first = top - int(np.argmax(speed.value[top::-1] < 0.55 * speed.value[top]))
    return float(speed.time_s[first] + share * (speed.time_s[top] - speed.time_s[first]))


def pegged(log: Log) -> Log:
    start, stop = place_in_pull(log, 0.4), place_in_pull(log, 0.7)

    def hold(channel: Channel) -> np.ndarray:
        at = (channel.time_s >= start) & (channel.time_s <= stop)
        return np.where(at, channel.value[int(np.argmax(at))], channel.value)

    return changed(log, "mass_air_flow", hold)


def lifted(log: Log) -> Log:
    middle = place_in_pull(log, 0.5)

    def drop(channel: Channel) -> np.ndarray:
        return channel.value * (1.0 - 0.5 * np.exp(-(((channel.time_s - middle) / 0.4) ** 2)))

    for name in ("mass_air_flow", "manifold_pressure", "fuel_per_stroke", "air_per_stroke"):
        log = changed(log, name, drop) if name in log else log
    return log


def slipped(log: Log) -> Log:
    middle = place_in_pull(log, 0.5)

    def flare(channel: Channel) -> np.ndarray:
        return channel.value * (1.0 + 0.10 * np.exp(-(((channel.time_s - middle) / 0.35) ** 2)))

    return changed(log, "engine_speed", flare)


def hose_off(log: Log) -> Log:
    for name in ("mass_air_flow", "air_per_stroke"):
        log = changed(log, name, lambda c: 1.19 * c.value) if name in log else log
    return log


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (pegged, "stays at"),
        (lifted, "drops by"),
        (slipped, "slip"),
        (hose_off, "beside the other repeats of after"),
    ],
)
def test_the_bad_log_is_named_and_no_other(
    clean: SimulatedCampaign, spoil: Callable[[Log], Log], words: str
) -> None:
    odd = with_bad(clean, spoil)
    assert words in odd[BAD]
    assert [k for k, reason in enumerate(odd) if reason] == [BAD]
    assert left_out(odd, GROUPS) == outvoted(odd, GROUPS) == (BAD,)


def test_a_pedal_that_was_logged_tells_of_the_lift(clean: SimulatedCampaign) -> None:
    def pedal(log: Log, lift: bool) -> Log:
        speed = log["engine_speed"]
        start, middle = place_in_pull(log, 0.0), place_in_pull(log, 0.5)
        down = (speed.time_s >= start - 2.0).astype(float)
        up = np.abs(speed.time_s - middle) < 0.4
        value = np.where(up & lift, 0.2, down)
        channel = replace(speed, name="pedal", header="pedal", value=value)
        return replace(log, channels={**log.channels, "pedal": channel})

    logs = [pedal(x, lift=False) for x in (*clean.before, *clean.after)]
    logs[BAD] = pedal(clean.after[BAD - 3], lift=True)
    odd = odd_of(logs, clean.setup)
    assert "pedal is lifted" in odd[BAD]
    assert sum(bool(r) for r in odd) == 1


def test_the_same_file_on_both_sides_is_named(clean: SimulatedCampaign) -> None:
    logs = [replace(x, sha256=str(k)) for k, x in enumerate((*clean.before, *clean.after))]
    logs[BAD] = logs[1]
    odd = odd_of(logs, clean.setup)
    assert "same file" in odd[1]
    assert "before" in odd[BAD]
    assert left_out(odd, GROUPS) == (1, BAD)


def test_a_wrong_number_of_cylinders_is_told_by_two_air_figures(clean: SimulatedCampaign) -> None:
    def fewer(log: Log) -> Log:
        cylinders = clean.setup.engine.cylinders
        return changed(log, "air_per_stroke", lambda c: c.value * cylinders / (cylinders - 1))

    odd = odd_of([fewer(x) for x in (*clean.before, *clean.after)], clean.setup)
    assert all("cylinders" in reason for reason in odd)
    assert left_out(odd, GROUPS) == ()


def test_where_the_sensor_ends_no_log_stands_out() -> None:
    made = simulate_campaigns(TURBO_DIESEL, [Case(maf_ceiling_kgps=0.12)], 4)[0]
    assert set(odd_of([*made.before, *made.after], made.setup)) == {""}


@pytest.mark.parametrize(
    ("odd", "groups", "out"),
    [
        ("..x...", "bbbaaa", (2,)),
        ("..x..x", "bbbaaa", (2, 5)),
        (".xx...", "bbbaaa", ()),        # one against two
        ("..x..", "bbbaa", (2,)),
        ("...x.", "bbbaa", ()),          # one against one
        ("x..x.", "bbbaa", ()),          # no half measures: all of them or none
        ("......", "bbbaaa", ()),
        ("xxx...", "bbbaaa", ()),        # a whole configuration is no odd log
    ],
)  # fmt: skip
def test_two_sound_repeats_outvote_an_odd_log(odd: str, groups: str, out: tuple[int, ...]) -> None:
    reasons = ["a hose off" if k == "x" else "" for k in odd]
    assert outvoted(reasons, list(groups)) == out


def test_good_logs_are_not_called_odd() -> None:
    cases = [
        Case(skew=0.05), Case(scatter=2.0), Case(leak_after_compressor=0.05), Case(staggered=True),
        Case(gauge_us_units=True), Case(noise=2.0), Case(sample_rate_hz=5.0),
        Case(boost_change=0.1), own_channels(Case(skew=-0.05)), Case(pulsation=0.04),
    ]  # fmt: skip
    named = total = 0
    for seed in range(3):
        for engine in ENGINES:
            for made in simulate_campaigns(engine, cases, 300 + seed):
                odd = odd_of([*made.before, *made.after], made.setup)
                named += sum(bool(reason) for reason in odd)
                total += len(odd)
    assert named <= 0.01 * total
