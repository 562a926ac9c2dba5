"""The words that headers use for each canonical channel: the one table to extend.

Words are compared as sets, without case, order, punctuation and the fillers below; one word
too many ("desired", "target", "calculated") and the header is not this quantity. Rank 1 is the
wording of SAE J1979 / ISO 15031-5, rank 2 the words of the trade.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Wording:
    """Phrases for one canonical channel."""

    name: str
    rank: int
    phrases: tuple[str, ...]


_SAE = 1
_TRADE = 2

WORDINGS = (
    Wording("time", _SAE, ("time",)),
    Wording(
        "time",
        _TRADE,
        (
            "timestamp", "time stamp", "elapsed time", "log time", "time elapsed", "elapsed",
            "seconds", "time since start", "t", "clock", "clock time", "session time",
            "device time", "run time", "datetime", "date time", "zeit", "time axis", "ms", "sec",
            "time offset", "temps", "tiempo", "tempo", "zeitstempel", "local time",
        ),
    ),
    Wording("engine_speed", _SAE, ("engine rpm", "engine speed")),
    Wording(
        "engine_speed",
        _TRADE,
        (
            "rpm", "revs", "crankshaft speed", "crank speed", "engine revs", "engine revolutions",
            "motor speed", "n mot", "nmot", "drehzahl", "motordrehzahl", "engine speed rpm",
            "regime moteur", "regimen motor", "n engine", "tach", "tachometer",
        ),
    ),
    Wording(
        "manifold_pressure",
        _SAE,
        ("intake manifold absolute pressure", "intake manifold pressure"),
    ),
    Wording(
        "manifold_pressure",
        _TRADE,
        (
            "map", "manifold absolute pressure", "manifold pressure", "manifold air pressure",
            "inlet manifold pressure", "inlet manifold absolute pressure", "map pressure",
            "intake manifold absolute pressure map", "manifold absolute pressure map",
            "charge air pressure", "charge pressure", "absolute boost pressure",
            "absolute charge pressure", "saugrohrdruck", "ladedruck absolut", "p manifold",
            "p man", "boost pressure absolute", "map absolute",
        ),
    ),
    Wording(
        "boost_pressure",
        _TRADE,
        (
            "boost", "boost pressure", "turbo boost", "turbo boost pressure", "boost gauge",
            "gauge boost pressure", "relative boost pressure", "boost pressure relative",
            "relative boost", "ladedruck", "manifold gauge pressure", "manifold relative pressure",
            "turbo pressure", "turbocharger boost pressure", "turbocharger pressure",
            "turbocharger compressor outlet pressure", "charger pressure", "supercharger boost",
        ),
    ),
    Wording("barometric_pressure", _SAE, ("barometric pressure",)),
    Wording(
        "barometric_pressure",
        _TRADE,
        (
            "baro", "barometer", "ambient pressure", "atmospheric pressure", "baro pressure",
            "ambient air pressure", "absolute barometric pressure", "baro absolute pressure",
            "luftdruck", "umgebungsdruck", "baro absolute", "ambient absolute pressure",
        ),
    ),
    Wording("charge_temperature", _SAE, ("charge air cooler temperature",)),
    Wording(
        "charge_temperature",
        _TRADE,
        (
            "charge air temperature", "charge temperature", "manifold air temperature",
            "intake manifold temperature", "intake manifold air temperature",
            "inlet manifold temperature", "manifold temperature", "mat",
            "temperature after intercooler", "post intercooler temperature",
            "intercooler outlet temperature", "intercooler out temperature",
            "charge cooler outlet temperature", "air temperature after charge cooler",
            "boost air temperature", "ladelufttemperatur", "boost temperature",
            "iat after intercooler", "iat post intercooler", "manifold charge temperature",
        ),
    ),
    Wording("intake_temperature", _SAE, ("intake air temperature",)),
    Wording(
        "intake_temperature",
        _TRADE,
        (
            "iat", "inlet air temperature", "intake temperature", "inlet temperature",
            "air intake temperature", "iat temperature", "intake air temperature iat",
            "ansauglufttemperatur", "act", "air charge temperature", "maf temperature",
            "airbox temperature",
        ),
    ),
    Wording("ambient_temperature", _SAE, ("ambient air temperature",)),
    Wording(
        "ambient_temperature",
        _TRADE,
        (
            "aat", "ambient temperature", "outside temperature", "outside air temperature", "oat",
            "outdoor temperature", "aussentemperatur", "außentemperatur", "cell temperature",
            "room temperature", "umgebungstemperatur",
        ),
    ),
    Wording(
        "relative_humidity",
        _TRADE,
        (
            "relative humidity", "humidity", "rh", "ambient humidity", "air humidity",
            "luftfeuchte", "luftfeuchtigkeit", "ambient relative humidity", "rel humidity",
        ),
    ),
    Wording(
        "mass_air_flow",
        _SAE,
        ("air flow rate from mass flow sensor", "mass air flow rate", "air flow rate"),
    ),
    Wording(
        "mass_air_flow",
        _TRADE,
        (
            "maf", "mass air flow", "air mass flow", "air flow", "air mass", "maf rate",
            "maf air flow rate", "maf flow", "maf air flow", "mass air flow maf", "intake air mass",
            "intake air mass flow", "air mass flow rate", "luftmasse", "luftmassenstrom", "hfm",
            "air mass meter", "mass flow", "air mass rate", "air meter", "mass air",
            "intake air flow", "hot film air mass", "intake air flow rate", "maf mass flow",
        ),
    ),
    Wording(
        "maf_signal",
        _TRADE,
        (
            "maf voltage", "maf frequency", "maf signal", "maf period", "maf counts", "maf volts",
            "mass air flow voltage", "mass air flow frequency", "mass air flow signal",
            "air mass voltage", "air mass signal", "air mass frequency", "maf raw", "maf hz",
            "air mass meter voltage", "air mass period", "air flow meter voltage",
            "air flow meter signal", "maf output", "maf adc", "mass air flow period",
        ),
    ),
    Wording(
        "air_per_stroke",
        _TRADE,
        (
            "air per stroke", "air mass per stroke", "air mass per cylinder", "air per cylinder",
            "cylinder air mass", "air charge", "cylinder charge", "mass air per stroke",
            "cylinder air charge", "fresh air mass per stroke", "air mass stroke",
            "fresh air charge", "air mass flow per stroke", "air per cycle", "grams per cylinder",
            "luftmasse pro hub",
        ),
    ),
    Wording("fuel_volume_flow", _SAE, ("engine fuel rate",)),
    Wording(
        "fuel_mass_flow",
        _TRADE,
        (
            "fuel flow", "fuel rate", "fuel mass flow", "fuel consumption", "fuel flow rate",
            "fuel mass", "fuel mass rate", "fuel mass flow rate", "fuel consumption rate",
            "cylinder fuel rate", "vehicle fuel rate", "instantaneous fuel consumption",
            "kraftstoffverbrauch", "kraftstoffmasse", "engine fuel mass flow",
        ),
    ),
    Wording(
        "fuel_volume_flow",
        _TRADE,
        ("fuel volume flow", "fuel volume rate", "fuel volume flow rate", "volumetric fuel flow"),
    ),
    Wording(
        "fuel_per_stroke",
        _TRADE,
        (
            "injection quantity", "fuel per stroke", "injected quantity", "fuel quantity",
            "total injection quantity", "injected fuel", "injected fuel quantity",
            "fuel injection quantity", "injected mass", "fuel mass per stroke", "iq",
            "injection mass", "fuel mass per cylinder", "total fuel quantity", "fuel injected",
            "fuel per cylinder", "einspritzmenge", "quantity injected", "cylinder fuel mass",
            "injection quantity total", "fuelling", "fueling", "total injected quantity",
        ),
    ),
    Wording("fuel_volume_per_stroke", _TRADE, ("fuel volume per stroke", "injected volume")),
    Wording(
        "lambda",
        _SAE,
        (
            "equivalence ratio lambda", "o2 equivalence ratio lambda",
            "o2 lambda", "o2 wide range lambda", "oxygen lambda",
        ),
    ),
    Wording(
        "lambda",
        _TRADE,
        (
            "lambda", "afr", "air fuel ratio", "wideband", "wide band", "wideband lambda",
            "wide band lambda", "lambda wideband", "wideband afr", "exhaust lambda",
            "lambda value", "air fuel equivalence ratio", "wideband o2", "lambda ratio",
            "measured lambda", "wideband air fuel ratio", "air fuel ratio afr", "lambda probe",
            "air fuel", "a f ratio", "afr wideband", "lambdawert", "exhaust afr", "uego lambda",
        ),
    ),
    Wording(
        "exhaust_oxygen",
        _TRADE,
        (
            "exhaust oxygen", "exhaust o2", "o2 concentration", "oxygen concentration",
            "exhaust oxygen concentration", "exhaust o2 concentration", "o2 dry", "o2 content",
            "tailpipe o2",
        ),
    ),
    Wording(
        "exhaust_carbon_dioxide",
        _TRADE,
        (
            "exhaust carbon dioxide", "exhaust co2", "co2", "co2 concentration", "co2 dry",
            "exhaust co2 concentration", "tailpipe co2", "carbon dioxide",
        ),
    ),
    Wording(
        "egr_rate",
        _TRADE,
        (
            "egr rate", "egr mass fraction", "exhaust gas recirculation rate", "egr fraction",
            "egr mass rate", "agr rate",
        ),
    ),
    Wording(
        "brake_power",
        _TRADE,
        (
            "brake power", "power", "engine power", "brake horsepower", "horsepower",
            "flywheel power", "crank power", "bhp", "hp", "leistung", "motorleistung",
            "engine brake power",
            "corrected power", "kw",
        ),
    ),
    Wording(
        "brake_torque",
        _TRADE,
        (
            "brake torque", "torque", "engine torque", "flywheel torque", "engine brake torque",
            "drehmoment", "crank torque", "motordrehmoment", "dyno torque",
        ),
    ),
    Wording(
        "inlet_depression",
        _TRADE,
        (
            "inlet depression", "intake depression", "inlet restriction", "intake restriction",
            "air filter restriction", "filter pressure drop", "air filter pressure drop",
            "air filter depression", "airbox depression", "compressor inlet depression",
            "filter restriction", "air filter delta p", "intake pressure drop",
        ),
    ),
    Wording("turbo_speed", _SAE, ("turbocharger rpm",)),
    Wording(
        "turbo_speed",
        _TRADE,
        (
            "turbo speed", "turbocharger speed", "turbine speed", "compressor speed", "turbo rpm",
            "turbo shaft speed", "turboladerdrehzahl", "turbo shaft rpm", "n turbo",
        ),
    ),
    Wording("throttle", _SAE, ("absolute throttle position", "throttle position")),
    Wording(
        "throttle",
        _TRADE,
        (
            "throttle", "tps", "throttle angle", "throttle valve", "throttle plate",
            "throttle valve position", "relative throttle position", "throttle opening",
            "drosselklappe", "throttle body", "throttle plate position", "throttle valve angle",
        ),
    ),
    Wording("pedal", _SAE, ("accelerator pedal position", "relative accelerator pedal position")),
    Wording(
        "pedal",
        _TRADE,
        (
            "pedal", "pedal position", "accelerator", "accelerator position", "accelerator pedal",
            "app", "gas pedal", "driver pedal", "fahrpedal", "gaspedal", "fahrpedalstellung",
            "accelerator pedal value",
        ),
    ),
    Wording("vehicle_speed", _SAE, ("vehicle speed", "vehicle speed sensor")),
    Wording(
        "vehicle_speed",
        _TRADE,
        (
            "vss", "road speed", "car speed", "speed", "wheel speed", "roller speed",
            "geschwindigkeit", "fahrzeuggeschwindigkeit", "speed obd", "velocity",
        ),
    ),
    Wording("coolant_temperature", _SAE, ("engine coolant temperature",)),
    Wording(
        "coolant_temperature",
        _TRADE,
        (
            "coolant temperature", "ect", "clt", "water temperature", "coolant", "cts",
            "kuehlmitteltemperatur", "kühlmitteltemperatur", "engine temperature",
            "cooling water temperature", "engine water temperature",
        ),
    ),
)  # fmt: skip
