"""Three invented engines for the forward model.

Every number is ours, chosen so that flow, boost, lambda and power look like engines of that
size; none is taken from a real engine.
"""

from __future__ import annotations

from airsense.setup.engine import Ignition
from airsense.simulate.engine_model import (
    Breathing,
    ChargePath,
    Combustion,
    Curve,
    EngineModel,
    Fuelling,
    Sensing,
    Sweep,
    Turbo,
)

__all__ = ["ENGINES", "LARGE_TURBO_DIESEL", "TURBO_DIESEL", "TURBO_PETROL", "EngineModel"]

TURBO_DIESEL = EngineModel(
    name="turbo diesel 3.0",
    ignition=Ignition.COMPRESSION,
    reference_flow_kgps=0.225,
    reference_pressure_pa=2.5e5,
    breathing=Breathing(
        displacement_m3=2.99e-3,
        cylinders=6,
        compression_ratio=16.5,
        ve_frac=Curve(
            (800, 1400, 2000, 2600, 3200, 4000, 4600), (0.84, 0.875, 0.905, 0.92, 0.91, 0.875, 0.83)
        ),
        ve_per_bar=0.012,
        ve_temperature_exponent=0.3,
        egr_part_load_frac=0.22,
    ),
    charge=ChargePath(
        volume_m3=12.0e-3,
        depression_pa=4200.0,
        inlet_heating_k=3.0,
        cooler_effectiveness=0.74,
        cooler_heat_capacity_j_k=9000.0,
        cooler_to_ambient_w_k=420.0,
    ),
    turbo=Turbo(
        compressor_area_m2=9.6e-4,
        head_coefficient=1.25,
        efficiency_peak_frac=0.76,
        inertia_kg=0.05,
        turbine_efficiency_frac=0.56,
        area_closed_m2=2.2e-4,
        area_open_m2=7.5e-4,
        bypass_frac=0.0,
        opening=Curve((1200, 1600, 2000, 3000, 4000, 4600), (0.0, 0.02, 0.16, 0.46, 0.72, 0.85)),
        droop_gain=3.0,
        p_target_pa=Curve(
            (1000, 1400, 1800, 2200, 3400, 4200, 4600),
            (1.7e5, 2.1e5, 2.5e5, 2.62e5, 2.60e5, 2.46e5, 2.3e5),
        ),
    ),
    fuelling=Fuelling(
        fuel_name="diesel",
        air_fuel_ratio_stoich=14.55,
        heating_value_j_kg=42.8e6,
        demand_kg=Curve(
            (800, 1400, 1800, 3000, 3600, 4200, 4600),
            (45e-6, 60e-6, 74e-6, 73e-6, 67e-6, 58e-6, 45e-6),
        ),
        lambda_full_load=Curve((1000, 1600, 2400, 3400, 4200), (1.18, 1.20, 1.24, 1.29, 1.34)),
        trim_authority_frac=0.0,
        trim_time_constant_s=1.0,
    ),
    combustion=Combustion(
        efficiency_peak_frac=0.455,
        best_speed_rpm=2200.0,
        friction_pa=0.85e5,
        friction_pa_per_krpm=0.22e5,
        exhaust_heat_frac=0.37,
        back_pressure_pa=14e3,
    ),
    sensing=Sensing(
        film_lag_s=0.045,
        film_delay_s=0.04,
        thermistor_lag_s=1.6,
        lambda_lag_s=0.12,
        lambda_delay_s=0.12,
        pulsation_frac=0.012,
        pulsation_decay_rpm=280.0,
    ),
    sweep=Sweep(
        start_rpm=1400.0,
        end_rpm=4100.0,
        lead_in_s=3.0,
        settle_s=1.8,
        duration_s=9.0,
        lift_off_s=2.2,
        cruise_pedal=0.28,
        idle_rpm=760.0,
    ),
)

LARGE_TURBO_DIESEL = EngineModel(
    name="turbo diesel 7.2",
    ignition=Ignition.COMPRESSION,
    reference_flow_kgps=0.46,
    reference_pressure_pa=2.95e5,
    breathing=Breathing(
        displacement_m3=7.2e-3,
        cylinders=6,
        compression_ratio=17.0,
        ve_frac=Curve((600, 1100, 1600, 2200, 2800, 3300), (0.86, 0.90, 0.93, 0.925, 0.89, 0.84)),
        ve_per_bar=0.010,
        ve_temperature_exponent=0.3,
        egr_part_load_frac=0.18,
    ),
    charge=ChargePath(
        volume_m3=26.0e-3,
        depression_pa=5200.0,
        inlet_heating_k=3.5,
        cooler_effectiveness=0.72,
        cooler_heat_capacity_j_k=19000.0,
        cooler_to_ambient_w_k=950.0,
    ),
    turbo=Turbo(
        compressor_area_m2=18.5e-4,
        head_coefficient=1.25,
        efficiency_peak_frac=0.77,
        inertia_kg=0.12,
        turbine_efficiency_frac=0.57,
        area_closed_m2=4.6e-4,
        area_open_m2=14.0e-4,
        bypass_frac=0.0,
        opening=Curve((1000, 1300, 1700, 2400, 3000, 3300), (0.0, 0.03, 0.22, 0.50, 0.72, 0.82)),
        droop_gain=3.0,
        p_target_pa=Curve(
            (800, 1100, 1400, 1800, 2500, 3000, 3300),
            (1.8e5, 2.3e5, 2.8e5, 3.1e5, 3.1e5, 2.9e5, 2.6e5),
        ),
    ),
    fuelling=Fuelling(
        fuel_name="diesel",
        air_fuel_ratio_stoich=14.5,
        heating_value_j_kg=42.7e6,
        demand_kg=Curve(
            (600, 1100, 1500, 2200, 2700, 3100, 3300),
            (110e-6, 160e-6, 205e-6, 198e-6, 172e-6, 140e-6, 110e-6),
        ),
        lambda_full_load=Curve((800, 1200, 1800, 2600, 3200), (1.22, 1.25, 1.30, 1.37, 1.42)),
        trim_authority_frac=0.0,
        trim_time_constant_s=1.0,
    ),
    combustion=Combustion(
        efficiency_peak_frac=0.46,
        best_speed_rpm=1700.0,
        friction_pa=0.8e5,
        friction_pa_per_krpm=0.28e5,
        exhaust_heat_frac=0.36,
        back_pressure_pa=13e3,
    ),
    sensing=Sensing(
        film_lag_s=0.05,
        film_delay_s=0.06,
        thermistor_lag_s=2.2,
        lambda_lag_s=0.15,
        lambda_delay_s=0.16,
        pulsation_frac=0.015,
        pulsation_decay_rpm=220.0,
    ),
    sweep=Sweep(
        start_rpm=1150.0,
        end_rpm=3000.0,
        lead_in_s=3.0,
        settle_s=2.2,
        duration_s=9.5,
        lift_off_s=2.2,
        cruise_pedal=0.25,
        idle_rpm=640.0,
    ),
)

TURBO_PETROL = EngineModel(
    name="turbo petrol 1.8",
    ignition=Ignition.SPARK,
    reference_flow_kgps=0.175,
    reference_pressure_pa=1.95e5,
    breathing=Breathing(
        displacement_m3=1.8e-3,
        cylinders=4,
        compression_ratio=9.6,
        ve_frac=Curve(
            (800, 1800, 2600, 3600, 4800, 5800, 6600),
            (0.88, 0.93, 0.965, 0.985, 0.985, 0.955, 0.91),
        ),
        ve_per_bar=0.015,
        ve_temperature_exponent=0.35,
        egr_part_load_frac=0.0,
    ),
    charge=ChargePath(
        volume_m3=7.0e-3,
        depression_pa=3600.0,
        inlet_heating_k=4.0,
        cooler_effectiveness=0.70,
        cooler_heat_capacity_j_k=6500.0,
        cooler_to_ambient_w_k=280.0,
    ),
    turbo=Turbo(
        compressor_area_m2=7.2e-4,
        head_coefficient=1.25,
        efficiency_peak_frac=0.75,
        inertia_kg=0.035,
        turbine_efficiency_frac=0.56,
        area_closed_m2=3.4e-4,
        area_open_m2=8.0e-4,
        bypass_frac=1.0,
        opening=Curve((1800, 2400, 3200, 4400, 5600, 6400), (0.0, 0.05, 0.2, 0.42, 0.60, 0.70)),
        droop_gain=3.0,
        p_target_pa=Curve(
            (1500, 2000, 2600, 3400, 5200, 6000, 6500),
            (1.4e5, 1.75e5, 2.02e5, 2.08e5, 2.02e5, 1.92e5, 1.80e5),
        ),
    ),
    fuelling=Fuelling(
        fuel_name="petrol_e5",
        air_fuel_ratio_stoich=14.3,
        heating_value_j_kg=42.3e6,
        demand_kg=Curve((0, 1), (0.0, 0.0)),
        lambda_full_load=Curve((1500, 2500, 3500, 5000, 6200), (0.98, 0.95, 0.90, 0.86, 0.83)),
        trim_authority_frac=0.04,
        trim_time_constant_s=2.0,
    ),
    combustion=Combustion(
        efficiency_peak_frac=0.395,
        best_speed_rpm=3200.0,
        friction_pa=0.6e5,
        friction_pa_per_krpm=0.16e5,
        exhaust_heat_frac=0.42,
        back_pressure_pa=18e3,
    ),
    sensing=Sensing(
        film_lag_s=0.035,
        film_delay_s=0.04,
        thermistor_lag_s=1.3,
        lambda_lag_s=0.10,
        lambda_delay_s=0.09,
        pulsation_frac=0.015,
        pulsation_decay_rpm=400.0,
    ),
    sweep=Sweep(
        start_rpm=1900.0,
        end_rpm=6200.0,
        lead_in_s=3.0,
        settle_s=1.4,
        duration_s=8.5,
        lift_off_s=2.0,
        cruise_pedal=0.3,
        idle_rpm=820.0,
    ),
)

ENGINES = (TURBO_DIESEL, LARGE_TURBO_DIESEL, TURBO_PETROL)
