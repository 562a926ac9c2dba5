"""A channel computed from the sensor is caught by its identity; an independent one is kept."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from airsense.arrays import FloatArray
from airsense.estimates.circular import (
    Identity,
    air_per_stroke_identity,
    circular_finding,
    lambda_identity,
    same_in_all,
)
from airsense.estimates.run import Run
from airsense.logs.log import Log
from airsense.results import Severity
from tests.evidence_inputs import DRY, channel, setup_of

STEP = 0.08
TIME = STEP * np.arange(300)
AFR = 14.5
ENGINE = setup_of(displacement_l=2.0, cylinders=4).engine


def rounded(value: FloatArray, resolution: float) -> FloatArray:
    return value if resolution == 0.0 else np.round(value / resolution) * resolution


class Drive:
    """A pull with the noise that a hot film has, and fuel that follows with a smoke limit."""

    def __init__(self, seed: int = 1, noise: float = 0.006) -> None:
        rng = np.random.default_rng(seed)
        self.rng = rng
        share = np.clip((TIME - 2.0) / 18.0, 0.0, 1.0)
        self.speed = 1500.0 + 2500.0 * share
        self.true = 0.02 + 0.11 * share + 0.006 * np.sin(0.9 * TIME)
        self.maf = rounded(self.true * (1.0 + rng.normal(0.0, noise, TIME.size)), 1e-5)
        self.fuel = rounded(self.true / (AFR * (1.25 + 0.2 * (1.0 - share))), 1e-6)

    def run(self, lam: FloatArray, *, resolution: float = 0.001, **more: FloatArray) -> Run:
        values = {
            "mass_air_flow": (self.maf, 1e-5),
            "fuel_mass_flow": (self.fuel, 1e-6),
            "lambda": (rounded(lam, resolution), resolution),
            **{name: (v, 1e-8) for name, v in more.items()},
        }
        channels = {n: channel(n, TIME, v, resolution=r) for n, (v, r) in values.items()}
        return Run(
            name="pull 1", log=Log(path="pull 1", reader="test", sha256="", channels=channels),
            time_s=TIME, speed_rpm=self.speed, native_step_s=STEP, mdot_maf_kgps=self.maf,
            mdot_fuel_kgps=self.fuel, lambda_=values["lambda"][0], air=DRY,
        )  # fmt: skip


def delayed(value: FloatArray, steps: int) -> FloatArray:
    return np.r_[np.full(steps, value[0]), value[: value.size - steps]] if steps else value


@pytest.mark.parametrize("scale", [1.0, 0.93, 1.2])
@pytest.mark.parametrize("resolution", [0.0, 0.001, 0.01])
def test_lambda_from_the_sensor_is_caught_whatever_its_scale(
    scale: float, resolution: float
) -> None:
    d = Drive()
    run = d.run(scale * d.maf / (d.fuel * AFR), resolution=resolution)
    got = lambda_identity(run)
    assert got is not None
    assert got.circular
    assert got.close
    assert got.channel == "lambda"
    assert got.factor == pytest.approx(scale / AFR, rel=3e-3)
    # Rounding of three channels: uniform within a digit, s = d/sqrt(12).
    digits = [(1e-5, d.maf), (1e-6, d.fuel), (resolution, d.maf / (d.fuel * AFR) * scale)]
    wanted = np.sqrt(sum((r / np.median(v)) ** 2 / 12.0 for r, v in digits))
    assert got.rounding == pytest.approx(wanted, rel=0.05)
    assert got.residual < 2.0 * got.rounding + 0.003


@pytest.mark.parametrize("steps", [1, 3, 8])
def test_a_lag_does_not_hide_it(steps: int) -> None:
    d = Drive()
    whole = delayed(d.maf, steps)
    got = lambda_identity(d.run(whole / (d.fuel * AFR)))
    assert got is not None
    assert got.circular
    assert got.lag_s == pytest.approx(-steps * STEP)


def test_a_lag_beyond_the_search_is_not_called_circular() -> None:
    d = Drive()
    got = lambda_identity(d.run(delayed(d.maf, 40) / (d.fuel * AFR)))
    assert got is not None
    assert not got.circular


@pytest.mark.parametrize("noise", [0.0005, 0.002, 0.005, 0.01])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_wide_band_sensor_is_kept_also_when_it_is_quiet(noise: float, seed: int) -> None:
    """The true flow, not the reading, stands behind it: the hot film's noise stays in the ratio."""
    d = Drive(seed)
    lam = d.true / (d.fuel * AFR) * (1.0 + d.rng.normal(0.0, noise, TIME.size))
    got = lambda_identity(d.run(lam))
    assert got is not None
    assert not got.circular


def test_a_wide_band_sensor_with_drift_over_load_is_kept() -> None:
    d = Drive()
    lam = d.true / (d.fuel * AFR) * (1.0 + 0.03 * np.linspace(-1.0, 1.0, TIME.size))
    got = lambda_identity(d.run(lam))
    assert got is not None
    assert not got.circular
    assert not got.close


def test_a_quiet_hot_film_leaves_an_identity_to_the_digit_only() -> None:
    """No noise to tell by: only a ratio constant to its rounding counts."""
    d = Drive(noise=0.0)
    exact = lambda_identity(d.run(d.maf / (d.fuel * AFR), resolution=0.01))
    assert exact is not None
    assert exact.circular
    near = d.true / (d.fuel * AFR) * (1.0 + 0.012 * np.sin(0.3 * TIME))
    kept = lambda_identity(d.run(near))
    assert kept is not None
    assert not kept.circular


def test_nothing_to_test_is_nothing_found() -> None:
    d = Drive()
    run = d.run(d.maf / (d.fuel * AFR))
    for missing in ("lambda_", "mdot_fuel_kgps", "mdot_maf_kgps"):
        fields = {k: getattr(run, k) for k in run.__slots__}
        assert lambda_identity(Run(**{**fields, missing: None})) is None
    assert air_per_stroke_identity(run, ENGINE) is None


def test_too_few_samples_prove_nothing() -> None:
    d = Drive()
    run = d.run(d.maf / (d.fuel * AFR))
    sparse = np.full(TIME.size, np.nan)
    sparse[30:55] = run.lambda_[30:55]  # type: ignore[index]
    fields = {k: getattr(run, k) for k in run.__slots__}
    assert lambda_identity(Run(**{**fields, "lambda_": sparse})) is None


def test_a_few_spoilt_samples_do_not_hide_an_identity() -> None:
    d = Drive()
    lam = d.maf / (d.fuel * AFR)
    lam[::25] *= 1.5
    got = lambda_identity(d.run(lam))
    assert got is not None
    assert got.close


def test_air_per_stroke_is_the_flow_in_other_words() -> None:
    """MAF = air per stroke x cylinders x n / 120 (four-stroke)."""
    d = Drive()
    stroke = d.maf / (4 * d.speed / 120.0)
    got = air_per_stroke_identity(d.run(d.maf, air_per_stroke=rounded(stroke, 1e-8)), ENGINE)
    assert got is not None
    assert got.circular
    assert got.channel == "air_per_stroke"
    assert got.factor == pytest.approx(1.0, abs=1e-3)
    other = d.true / (4 * d.speed / 120.0) * (1.0 + d.rng.normal(0.0, 0.004, TIME.size))
    kept = air_per_stroke_identity(d.run(d.maf, air_per_stroke=other), ENGINE)
    assert kept is not None
    assert not kept.circular


def identity(factor: float, *, close: bool = True) -> Identity:
    return Identity(
        channel="lambda", circular=False, close=close, residual=0.004, rounding=0.001,
        lag_s=-0.08, factor=factor,
    )  # fmt: skip


def test_runs_together_prove_what_each_leaves_open() -> None:
    same = [identity(f) for f in (0.0690, 0.0691, 0.0690, 0.06895)]
    assert same_in_all(same)
    assert same_in_all(same[:3])
    assert not same_in_all(same[:2]), "two runs could be alike by chance"
    assert not same_in_all([*same[:3], identity(0.0696)]), "run effects of an independent sensor"
    assert not same_in_all([*same, identity(0.069, close=False)])
    assert not same_in_all([*same, None])
    assert same_in_all([*same, identity(0.0690)])
    # 0.25 % in ln is the limit, 0.15 % of three runs.
    assert same_in_all([identity(f) for f in (1.0, 1.0, 1.0, np.exp(0.0024))])
    assert not same_in_all([identity(f) for f in (1.0, 1.0, 1.0, np.exp(0.0026))])
    assert same_in_all([identity(f) for f in (1.0, 1.0, np.exp(0.0014))])
    assert not same_in_all([identity(f) for f in (1.0, 1.0, np.exp(0.0016))])


def test_a_noisy_hot_film_proves_it_alone_and_a_quiet_one_leaves_it_open() -> None:
    """Steps of 0.01 at lambda 1.3 hide a hot film of 0.35 % noise, not one of 0.6 %."""
    loud, quiet = Drive(noise=0.006), Drive(noise=0.0035)
    for d, untold in ((loud, False), (quiet, True)):
        # A fuel channel with noise of its own, so that the ratio is not exact.
        computed = d.maf / (d.fuel * AFR) * (1.0 + d.rng.normal(0.0, 0.003, TIME.size))
        got = lambda_identity(d.run(computed, resolution=0.01))
        assert got is not None
        assert got.close
        assert got.circular
        assert got.untold == untold


def test_rows_between_polls_prove_nothing() -> None:
    """Polled every 0.9 s, 24 s are 27 samples, however many rows the grid has."""
    d = Drive()
    run = d.run(d.maf / (d.fuel * AFR))
    fields = {k: getattr(run, k) for k in run.__slots__}
    slow = lambda_identity(Run(**{**fields, "native_step_s": 0.9}))
    assert slow is not None
    assert slow.close
    assert not slow.circular
    quick = lambda_identity(Run(**{**fields, "native_step_s": 0.5}))
    assert quick is not None
    assert quick.circular


@pytest.mark.parametrize("resolution", [0.05, 0.1])
def test_a_coarse_lambda_cannot_be_told_and_the_finding_says_so(resolution: float) -> None:
    """A sensor in the exhaust and a computed value look alike in steps of 4 to 8 %."""
    d = Drive()
    found = [
        lambda_identity(d.run(flow / (d.fuel * AFR), resolution=resolution))
        for flow in (d.true, d.maf)
    ]
    for got in found:
        assert got is not None
        assert got.circular
        assert got.untold
        finding = circular_finding(got, "x.csv")
        assert finding.code == "lambda_perhaps_circular"
        assert finding.severity is Severity.WARNING
        assert "cannot be told" in finding.message
        assert f"{100 * got.rounding:.1f} %)" in finding.message
        assert f"sensor to {100 * got.residual:.1f} %" in finding.message
        assert finding.where == "x.csv"
        named = circular_finding(replace(got, channel="air_per_stroke"), "x.csv")
        assert (named.code, named.severity) == ("air_per_stroke_perhaps_circular", Severity.INFO)
        assert "finer steps" in finding.fix
    fine = lambda_identity(d.run(d.maf / (d.fuel * AFR), resolution=0.01))
    assert fine is not None
    assert not fine.untold


def test_the_finding_carries_its_proof() -> None:
    got = circular_finding(identity(0.069), "pull 1.csv")
    assert got.code == "circular_lambda"
    assert got.severity is Severity.WARNING
    assert "constant to 0.40 %" in got.message
    assert "rounding gives 0.10 %" in got.message
    assert "lag -0.08 s" in got.message
    assert "exhaust" in got.fix
    assert got.where == "pull 1.csv"
    stroke = Identity(**{**{k: getattr(identity(1.0), k) for k in Identity.__slots__},
                         "channel": "air_per_stroke"})  # fmt: skip
    found = circular_finding(stroke, "x")
    assert found.code == "circular_air_per_stroke"
    assert found.severity is Severity.INFO
    assert "nothing to mend" in found.fix
