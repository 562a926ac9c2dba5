"""One simulated before/after campaign: what changed, and what the workshop logged."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum


class BoostControl(Enum):
    """What the boost controller holds while the weather or the intake changes.

    `DROOP` follows an absolute target with a proportional controller, so that a part of every
    disturbance shows; the others hold their target by an integral action.
    """

    DROOP = "droop"
    ABSOLUTE = "absolute"
    GAUGE = "gauge"
    RATIO_AMBIENT = "ratio_ambient"
    RATIO_INLET = "ratio_inlet"


class Driving(Enum):
    """What one log holds."""

    SWEEP = "sweep"
    HOLD = "hold"
    STEPS = "steps"
    DRIVE = "drive"
    IDLE = "idle"


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """All knobs of a campaign.

    Changes are after against before, as plain fractions unless the name holds a unit; zero is
    no change, but one for `restriction_factor`.

    Attributes
    ----------
    skew : float
        Constant change of the sensor's reading factor.
    skew_shape : float
        Further change of the reading factor that grows with flow; its size at the reference flow.
    pulsation : float
        Over-reading added at the low-speed end of the sweep.
    restriction_factor, restriction_before : float
        Intake pressure-loss coefficient: after over before, and before over the plain engine's.
    boost_change, ve_change : float
        Change of the boost target and of volumetric efficiency.
    leak_after_compressor : float
        Orifice leak, as a fraction of the reference flow at the reference boost.
    leak_before_compressor : float
        Unmetered air, as a fraction of the flow at the reference depression.
    map_gain, map_offset_kpa, charge_temp_offset_k, lambda_scale : float
        Drift of a reading between the configurations; the engine does not know of it.
    fuel_scale : float
        Drift of commanded over delivered fuel. The command is what is logged, so the engine
        burns less where this is positive, and breathes a little less for it.
    egr_open_after : float
        Exhaust gas fraction that stays in the charge at full load in the second configuration.
    scatter, drift, absolute_errors, noise : float
        Multipliers of run-to-run scatter (weather and timing of the pull included), of
        unexplained drift between the configurations, of constant sensor errors and of sample
        noise.
    boost_control : BoostControl
        What the boost controller holds; `boost_change` is a raised demand under every law.
    air_limited : bool
        The tune asks for a quarter more fuel than the air allows, so that at full load the
        commanded fuel of a diesel follows the sensor's reading.
    boost_per_fuel : float
        How the demanded pressure follows fuel at full load, d ln p / d ln fuel: with
        `air_limited`, the loop through which an over-reading sensor raises true airflow.
    still_s, idle_s : float
        Ignition on with the engine still, then warm idle, ahead of what is driven.
    idle_recirculation_frac : float
        Exhaust gas in the charge at idle, in both configurations.
    pulsation_by_load : bool
        The over-reading of pulsation fades with boost, and is absent without any. The seconds of
        `still_s` and `idle_s`, and all that is driven on the road, are so in any case.
    driving : tuple of Driving
        What the logs of either configuration hold, in turn; empty: one marched sweep a log.
        Anything else is computed by the quasi-steady road model.
    drive_s : float
        Length of a road drive, without `still_s` and `idle_s`.
    road_recirculation_frac : float
        Exhaust gas in the charge of a diesel at part load in what is driven on the road.
    log_wheel_power : bool
        Power at the wheels, `driveline_efficiency` times that of the engine less
        `driveline_loss_w`, never below zero.
    log_boost_demand : bool
        The absolute pressure that the controller asks for.
    barometer_from_map : bool
        The logged barometer is the manifold pressure as read at key-on, errors included.
    sample_rate_hz : float
        Rows a second; with `staggered`, requests a second, one channel a request.
    """

    name: str = "case"
    n_before: int = 3
    n_after: int = 3

    skew: float = 0.0
    skew_shape: float = 0.0
    pulsation: float = 0.0
    restriction_factor: float = 1.0
    restriction_before: float = 1.0
    boost_change: float = 0.0
    ve_change: float = 0.0
    leak_after_compressor: float = 0.0
    leak_before_compressor: float = 0.0
    map_gain: float = 0.0
    map_offset_kpa: float = 0.0
    charge_temp_offset_k: float = 0.0
    fuel_scale: float = 0.0
    lambda_scale: float = 0.0
    egr_open_after: float = 0.0

    ambient_pressure_pa: float = 98_500.0
    ambient_temperature_k: float = 294.0
    relative_humidity_frac: float = 0.45
    ambient_pressure_scatter_pa: float = 60.0
    ambient_temperature_scatter_k: float = 0.7
    relative_humidity_scatter_frac: float = 0.03
    ambient_temperature_change_k: float = 0.0
    ambient_pressure_change_pa: float = 0.0

    scatter: float = 1.0
    drift: float = 1.0
    absolute_errors: float = 1.0
    noise: float = 1.0
    heat_soak: bool = True
    ve_drift: bool = True

    boost_control: BoostControl = BoostControl.DROOP
    air_limited: bool = False
    boost_per_fuel: float = 0.0
    still_s: float = 0.0
    idle_s: float = 0.0
    idle_recirculation_frac: float = 0.0
    pulsation_by_load: bool = False
    driving: tuple[Driving, ...] = ()
    drive_s: float = 240.0
    road_recirculation_frac: float = 0.0
    driveline_efficiency: float = 0.90
    driveline_loss_w: float = 3_000.0

    log_lambda: bool = True
    log_fuel: bool = True
    log_charge_temperature: bool = True
    log_intake_temperature: bool = True
    log_barometer: bool = True
    log_brake_power: bool = True
    log_wheel_power: bool = False
    log_boost_demand: bool = False
    barometer_from_map: bool = False
    log_depression: bool = False
    log_maf_signal: bool = False
    gauge_us_units: bool = False
    staggered: bool = False
    circular_lambda: bool = False
    circular_air_per_stroke: bool = False

    sample_rate_hz: float = 12.5
    rounding: bool = True
    map_resolution_kpa: float = 1.0
    map_ceiling_kpa: float | None = None
    maf_ceiling_kgps: float | None = None

    @property
    def n_runs(self) -> int:
        """Runs of both configurations."""
        return self.n_before + self.n_after

    @property
    def on_road(self) -> bool:
        """Whether the road model makes the logs, not the march."""
        return bool(self.driving)

    @property
    def at_full_load(self) -> bool:
        """Whether every log is made of full load at imposed speeds, idle seconds apart."""
        return not {Driving.DRIVE, Driving.IDLE} & set(self.driving)

    def driven(self, run: int) -> Driving:
        """Return what the log of a run holds; the before-runs count first."""
        own = run if run < self.n_before else run - self.n_before
        return self.driving[own % len(self.driving)] if self.driving else Driving.SWEEP


def own_channels(case: Case, *, still_s: float = 4.0, idle_s: float = 6.0) -> Case:
    """Return the case as a workshop without a lambda probe logs it.

    Fuel is the command, air per stroke comes from the sensor's own reading, power is that at the
    wheels; ignition is on and the engine idles ahead of each pull.
    """
    return replace(
        case,
        still_s=still_s,
        idle_s=idle_s,
        log_lambda=False,
        circular_lambda=False,
        log_fuel=True,
        log_intake_temperature=False,
        log_brake_power=False,
        log_wheel_power=True,
        circular_air_per_stroke=True,
    )
