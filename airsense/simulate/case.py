"""One simulated before/after campaign: what changed, and what the workshop logged."""

from __future__ import annotations

from dataclasses import dataclass


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
    restriction_factor : float
        Intake pressure-loss coefficient, after over before.
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

    log_lambda: bool = True
    log_fuel: bool = True
    log_charge_temperature: bool = True
    log_intake_temperature: bool = True
    log_barometer: bool = True
    log_brake_power: bool = True
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
