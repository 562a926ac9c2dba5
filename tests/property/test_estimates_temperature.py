"""Which temperature is taken for the charge, and from what it is estimated where none is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from airsense.arrays import FloatArray
from airsense.estimates.prepare import prepare
from airsense.estimates.run import Run
from airsense.jobs.observe import _one_place, make_runs
from airsense.physics.charge import ChargeTemperature as Guess
from airsense.physics.charge import estimate_charge_temperature_k
from airsense.setup.engine import ChargeTemperature
from tests.evidence_inputs import log_of, run_of, setup_of

TIME = 0.1 * np.arange(600)
BOOST = 1.05e5 + 1.1e5 * np.clip(np.sin(0.3 * TIME), 0.0, 1.0) ** 2
# Behind a cooler the air follows about a fifth of the heat of compression.
FOLLOWING = 303.0 + 20.0 * (BOOST / 1e5 - 1.05)
P_AMBIENT = 9.9e4


def run(place: str | None = None, *, boost: bool = True, **values: object) -> Run:
    given = {
        "engine_speed": 2500.0, "mass_air_flow": BOOST * 5e-7, "barometric_pressure": P_AMBIENT,
        **values,
    }  # fmt: skip
    if boost:
        given["manifold_pressure"] = BOOST
    charge = {"time_constant_s": 0.0, **({} if place is None else {"place": place})}
    setup = setup_of().model_copy(
        update={"charge_temperature": ChargeTemperature.model_validate(charge)}
    )
    return prepare(log_of(TIME, **given), setup)  # type: ignore[arg-type]


def on(got: Run, value: FloatArray) -> FloatArray:
    return np.interp(got.time_s, TIME, value)


def guess(got: Run, inlet_k: float, ambient_k: float) -> Guess:
    return estimate_charge_temperature_k(inlet_k, ambient_k, on(got, BOOST), P_AMBIENT)


def codes(got: Run) -> set[str]:
    return {f.code for f in got.findings if f.code.startswith("temperature")}


@pytest.mark.parametrize(
    ("values", "inlet", "ambient"),
    [
        ({}, 293.15, 293.15),
        ({"ambient_temperature": 285.0}, 285.0, 285.0),
        ({"intake_temperature": 305.0}, 305.0, 305.0),
        ({"intake_temperature": 305.0, "ambient_temperature": 285.0}, 305.0, 285.0),
    ],
)
def test_estimate_starts_from_what_is_known_of_the_inlet(
    values: dict[str, float], inlet: float, ambient: float
) -> None:
    got = run("before_compressor", **values)
    assert got.charge_estimated
    np.testing.assert_allclose(got.t_charge_k, guess(got, inlet, ambient).t_charge_k)  # type: ignore[arg-type]
    wanted = guess(got, inlet, ambient).u_k
    assert got.u_t_charge_k == pytest.approx(float(np.median(wanted)))
    assert got.t_ambient_k == values.get("ambient_temperature")
    assert codes(got) == set()


@pytest.mark.parametrize("name", ["charge_temperature", "intake_temperature"])
def test_a_temperature_that_follows_boost_is_the_charges(name: str) -> None:
    got = run(**{name: FOLLOWING, "ambient_temperature": 293.0})
    assert not got.charge_estimated
    np.testing.assert_allclose(got.t_charge_k, on(got, FOLLOWING))  # type: ignore[arg-type]
    assert codes(got) == set()
    assert got.t_ambient_k == 293.0


def test_where_it_is_declared_ahead_it_is_not_used_however_it_behaves() -> None:
    got = run("before_compressor", intake_temperature=FOLLOWING)
    assert got.charge_estimated
    inlet = float(np.median(on(got, FOLLOWING)))
    np.testing.assert_allclose(got.t_charge_k, guess(got, inlet, inlet).t_charge_k)  # type: ignore[arg-type]


@pytest.mark.parametrize("place", [None, "after_cooler", "unknown"])
@pytest.mark.parametrize("name", ["charge_temperature", "intake_temperature"])
def test_behaviour_ahead_of_the_compressor_outweighs_a_name(name: str, place: str | None) -> None:
    got = run(place, **{name: 296.0, "ambient_temperature": 293.0})
    assert got.charge_estimated
    assert codes(got) == {"temperature_before_compressor"}
    np.testing.assert_allclose(got.t_charge_k, guess(got, 296.0, 293.0).t_charge_k)  # type: ignore[arg-type]


def test_ambient_tells_a_hot_sensor_that_does_not_move_from_inlet_air() -> None:
    """330 K is no inlet air at 293 K outside: it stays open, and is said."""
    known = run(intake_temperature=330.0, ambient_temperature=293.0)
    assert codes(known) == {"temperature_place_unknown"}
    blind = run(intake_temperature=330.0)
    assert codes(blind) == {"temperature_before_compressor"}
    believed = run("after_cooler", intake_temperature=330.0, ambient_temperature=293.0)
    assert not believed.charge_estimated
    named = run(charge_temperature=330.0, ambient_temperature=293.0)
    assert not named.charge_estimated
    doubted = run("unknown", charge_temperature=330.0, ambient_temperature=293.0)
    assert doubted.charge_estimated
    assert codes(doubted) == {"temperature_place_unknown"}


def test_inlet_air_that_is_cooler_shows_a_soaked_sensor_to_be_behind_the_cooler() -> None:
    """Warm from standing, an effective cooler behind it: the slope says little, 25 K say it."""
    soaked = 320.0 + 0.05 * (FOLLOWING - FOLLOWING.min())
    blind = run("after_cooler", charge_temperature=soaked)
    assert not blind.charge_estimated, "one behaviour does not outweigh a declaration"
    assert codes(blind) == {"temperature_place_doubted"}, "but it is told"
    named = run(charge_temperature=soaked, intake_temperature=293.0)
    assert not named.charge_estimated
    assert codes(named) == set()
    alike = run(charge_temperature=soaked, intake_temperature=soaked)
    assert codes(alike) == codes(run(charge_temperature=soaked)), "two of a kind show nothing"
    stated = run("unknown", charge_temperature=soaked, intake_temperature=293.0)
    assert codes(stated) == {"temperature_place_unknown"}


def test_a_log_without_boost_casts_no_doubt() -> None:
    for place in (None, "after_cooler"):
        light = run(place, charge_temperature=300.0, manifold_pressure=1.2e5, boost=False)
        assert codes(light) == set()
        assert np.isnan(light.ln_place_odds)


def with_odds(*ln_odds: float) -> list[Run]:
    """Return runs that take their temperature for the charge's where the odds are even or more."""
    return [run_of(ln_place_odds=v, charge_estimated=v < 0.0) for v in ln_odds]


@pytest.mark.parametrize(
    ("ln_odds", "place"),
    [
        ((2.0, 2.5, 1.0), None),
        ((-2.0, -2.5), None),
        ((2.0, 2.5, -0.5), "after_cooler"),
        ((-2.0, 0.5, -1.0), "before_compressor"),
        ((4.5, -4.5), None),                      # a sensor that was moved
        ((4.5, 4.0, -2.0), "after_cooler"),
        ((2.0, np.nan, 1.0), None),               # one that says nothing disagrees with none
    ],
)  # fmt: skip
def test_logs_that_disagree_take_one_place_together(
    ln_odds: tuple[float, ...], place: str | None
) -> None:
    found = _one_place(with_odds(*ln_odds))
    assert (None if found is None else found.value) == place


def test_two_thermometers_do_not_speak_for_each_other() -> None:
    inlet, charge = with_odds(-2.0, 2.5)
    assert _one_place([inlet, charge]) is not None
    other = replace(charge, log=log_of(TIME, charge_temperature=320.0))
    assert _one_place([inlet, other]) is None


def test_all_logs_of_one_engine_take_their_charge_temperature_from_one_place() -> None:
    """One of three follows boost by too little to tell; the others show what it is."""
    soft = 303.0 + 0.55 * (FOLLOWING - 303.0)
    setup = setup_of().model_copy(
        update={"charge_temperature": ChargeTemperature(time_constant_s=0.0)}
    )
    logs = [
        log_of(
            TIME, engine_speed=2500.0, mass_air_flow=BOOST * 5e-7, manifold_pressure=BOOST,
            barometric_pressure=P_AMBIENT, intake_temperature=t,
        )
        for t in (FOLLOWING, soft, FOLLOWING)
    ]  # fmt: skip
    assert [prepare(log, setup).charge_estimated for log in logs] == [False, True, False]
    runs = make_runs(logs, setup)
    assert not any(r.charge_estimated for r in runs)
    told = [{f.code for f in r.findings} & {"temperature_place_by_other_logs"} for r in runs]
    assert [bool(t) for t in told] == [False, True, False]


def test_without_pressure_the_name_decides() -> None:
    named = run(boost=False, charge_temperature=320.0)
    assert not named.charge_estimated
    np.testing.assert_allclose(named.t_charge_k, 320.0)  # type: ignore[arg-type]
    other = run(boost=False, intake_temperature=320.0, ambient_temperature=290.0)
    assert other.charge_estimated
    assert other.t_charge_k is None
    assert other.u_t_charge_k is None
    assert other.t_ambient_k == 290.0
    assert not [a for a in other.assumptions if "charge temperature of" in a.quantity]


def test_the_charges_own_temperature_comes_before_the_intakes() -> None:
    got = run(charge_temperature=FOLLOWING, intake_temperature=296.0)
    np.testing.assert_allclose(got.t_charge_k, on(got, FOLLOWING))  # type: ignore[arg-type]


def test_assumption_holds_the_numbers() -> None:
    got = run("before_compressor", intake_temperature=305.0, ambient_temperature=285.0)
    (note,) = [a for a in got.assumptions if a.quantity == "charge temperature of log.csv"]
    wanted = guess(got, 305.0, 285.0)
    middle, u = float(np.median(wanted.t_charge_k)) - 273.15, float(np.median(wanted.u_k))
    assert note.value == f"about {middle:.0f} degC, +-{u:.0f} K (k = 1)"
    assert note.source == (
        "estimated from pressure ratio, compressor efficiency and cooler effectiveness with "
        "ranges; inlet air logged ahead of the compressor"
    )
