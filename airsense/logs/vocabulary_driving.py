"""Words for pedal, throttle, road speed and coolant: a part of the table of the vocabulary."""

from __future__ import annotations

from airsense.logs.wording import SAE, TRADE, Wording

DRIVING_WORDINGS = (
    Wording("throttle", SAE, ("absolute throttle position", "throttle position")),
    Wording(
        "throttle",
        TRADE,
        (
            "throttle", "tps", "throttle angle", "throttle valve", "throttle plate",
            "throttle valve position", "relative throttle position", "throttle opening",
            "drosselklappe", "drosselklappenstellung", "drosselklappenwinkel", "throttle body",
            "throttle plate position", "throttle valve angle",
        ),
    ),
    Wording("pedal", SAE, ("accelerator pedal position", "relative accelerator pedal position")),
    Wording(
        "pedal",
        TRADE,
        (
            "pedal", "pedal position", "accelerator", "accelerator position", "accelerator pedal",
            "app", "gas pedal", "driver pedal", "fahrpedal", "gaspedal", "fahrpedalstellung",
            "gaspedalstellung", "pedalwert", "pedalstellung",
            "accelerator pedal value",
        ),
    ),
    Wording("vehicle_speed", SAE, ("vehicle speed", "vehicle speed sensor")),
    Wording(
        "vehicle_speed",
        TRADE,
        (
            "vss", "road speed", "car speed", "speed", "wheel speed", "roller speed",
            "geschwindigkeit", "fahrzeuggeschwindigkeit", "velocity",
        ),
    ),
    Wording("coolant_temperature", SAE, ("engine coolant temperature",)),
    Wording(
        "coolant_temperature",
        TRADE,
        (
            "coolant temperature", "ect", "water temperature", "coolant", "cts",
            "kuehlmitteltemperatur", "kühlmitteltemperatur", "engine temperature",
            "kühlwassertemperatur", "kuehlwassertemperatur", "wassertemperatur", "motortemperatur",
            "cooling water temperature", "engine water temperature",
        ),
    ),
)  # fmt: skip
