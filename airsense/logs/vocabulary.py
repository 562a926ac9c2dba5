"""The words that headers use for each canonical channel: the one table to extend.

Words are compared as sets, without case, order, punctuation and the fillers below; one word
too many ("desired", "target", "calculated") and the header is not this quantity. Rank 1 is the
wording of SAE J1979 / ISO 15031-5, rank 2 the words of the trade. What is wanted, actuated or
measured at the wheels, and what the driver does, stand in two files of their own.
"""

from __future__ import annotations

from airsense.logs.vocabulary_driving import DRIVING_WORDINGS
from airsense.logs.vocabulary_wanted import WANTED_WORDINGS
from airsense.logs.wording import SAE, TRADE, Wording

WORDINGS = (
    Wording("time", SAE, ("time",)),
    Wording(
        "time",
        TRADE,
        (
            "timestamp", "time stamp", "elapsed time", "log time", "time elapsed", "elapsed",
            "seconds", "time since start", "t", "clock", "clock time",
            "run time", "datetime", "date time", "zeit", "time axis", "ms", "sec",
            "time offset", "temps", "tiempo", "tempo", "zeitstempel", "local time",
        ),
    ),
    Wording("engine_speed", SAE, ("engine rpm", "engine speed")),
    Wording(
        "engine_speed",
        TRADE,
        (
            "rpm", "revs", "crankshaft speed", "crank speed", "engine revs", "engine revolutions",
            "motor speed", "drehzahl", "motordrehzahl", "engine speed rpm", "kurbelwellendrehzahl",
            "regime moteur", "regimen motor", "n engine", "tach", "tachometer",
        ),
    ),
    Wording(
        "manifold_pressure",
        SAE,
        ("intake manifold absolute pressure", "intake manifold pressure"),
    ),
    Wording(
        "manifold_pressure",
        TRADE,
        (
            "map", "manifold absolute pressure", "manifold pressure", "manifold air pressure",
            "inlet manifold pressure", "inlet manifold absolute pressure", "map pressure",
            "intake manifold absolute pressure map", "manifold absolute pressure map",
            "charge air pressure", "charge pressure", "absolute boost pressure",
            "absolute charge pressure", "saugrohrdruck", "saugrohrdruck absolut",
            "saugrohr absolutdruck", "ladedruck absolut", "p manifold",
            "p man", "boost pressure absolute", "map absolute",
        ),
    ),
    Wording(
        "boost_pressure",
        TRADE,
        (
            "boost", "boost pressure", "turbo boost", "turbo boost pressure", "boost gauge",
            "gauge boost pressure", "relative boost pressure", "boost pressure relative",
            "relative boost", "ladedruck", "manifold gauge pressure", "manifold relative pressure",
            "turbo pressure", "turbocharger boost pressure", "turbocharger pressure",
            "turbocharger compressor outlet pressure", "charger pressure", "supercharger boost",
        ),
    ),
    Wording("barometric_pressure", SAE, ("barometric pressure",)),
    Wording(
        "barometric_pressure",
        TRADE,
        (
            "baro", "barometer", "ambient pressure", "atmospheric pressure", "baro pressure",
            "ambient air pressure", "absolute barometric pressure", "baro absolute pressure",
            "luftdruck", "umgebungsdruck", "umgebungsluftdruck", "atmosphärendruck",
            "baro absolute", "ambient absolute pressure",
        ),
    ),
    Wording("charge_temperature", SAE, ("charge air cooler temperature",)),
    Wording(
        "charge_temperature",
        TRADE,
        (
            "charge air temperature", "charge temperature", "manifold air temperature",
            "intake manifold temperature", "intake manifold air temperature",
            "inlet manifold temperature", "manifold temperature", "mat",
            "temperature after intercooler", "post intercooler temperature",
            "intercooler outlet temperature", "intercooler out temperature",
            "charge cooler outlet temperature", "air temperature after charge cooler",
            "boost air temperature", "ladelufttemperatur", "boost temperature",
            "saugrohrtemperatur", "temperatur nach ladeluftkühler", "temperatur ladeluft",
            "temperatur nach llk", "ladelufttemperatur nach kühler",
            "iat after intercooler", "iat post intercooler", "manifold charge temperature",
        ),
    ),
    Wording("intake_temperature", SAE, ("intake air temperature",)),
    Wording(
        "intake_temperature",
        TRADE,
        (
            "iat", "inlet air temperature", "intake temperature", "inlet temperature",
            "air intake temperature", "iat temperature", "intake air temperature iat",
            "ansauglufttemperatur", "ansaugtemperatur", "temperatur ansaugluft",
            "air charge temperature", "maf temperature",
            "airbox temperature",
        ),
    ),
    Wording("ambient_temperature", SAE, ("ambient air temperature",)),
    Wording(
        "ambient_temperature",
        TRADE,
        (
            "aat", "ambient temperature", "outside temperature", "outside air temperature", "oat",
            "outdoor temperature", "aussentemperatur", "außentemperatur", "cell temperature",
            "room temperature", "umgebungstemperatur", "raumtemperatur",
            "lufttemperatur aussen", "hallentemperatur",
        ),
    ),
    Wording(
        "relative_humidity",
        TRADE,
        (
            "relative humidity", "humidity", "rh", "ambient humidity", "air humidity",
            "luftfeuchte", "luftfeuchtigkeit", "ambient relative humidity", "rel humidity",
            "intake air relative humidity", "intake air humidity", "intake relative humidity",
            "inlet air relative humidity", "inlet air humidity", "intake humidity",
            "inlet humidity", "ambient air humidity", "ambient air relative humidity",
            "air relative humidity", "relative air humidity", "relative luftfeuchte",
            "relative luftfeuchtigkeit", "relative feuchte", "feuchte", "ansaugluftfeuchte",
            "relative feuchte ansaugluft", "outside humidity", "room humidity",
        ),
    ),
    Wording(
        "mass_air_flow",
        SAE,
        ("air flow rate from mass flow sensor", "mass air flow rate", "air flow rate"),
    ),
    Wording(
        "mass_air_flow",
        TRADE,
        (
            "maf", "mass air flow", "air mass flow", "air flow", "air mass", "maf rate",
            "maf air flow rate", "maf flow", "maf air flow", "mass air flow maf", "intake air mass",
            "intake air mass flow", "air mass flow rate", "luftmasse", "luftmassenstrom",
            "luftmassendurchsatz", "luftdurchsatz", "luftmassenmesser", "luftmassenfluss",
            "air flow meter",
            "air mass meter", "mass flow", "air mass rate", "air meter", "mass air",
            "intake air flow", "hot film air mass", "intake air flow rate", "maf mass flow",
        ),
    ),
    Wording(
        "maf_signal",
        TRADE,
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
        TRADE,
        (
            "air per stroke", "air mass per stroke", "air mass per cylinder", "air per cylinder",
            "cylinder air mass", "air charge", "cylinder charge", "mass air per stroke",
            "cylinder air charge", "fresh air mass per stroke", "air mass stroke",
            "fresh air charge", "air mass flow per stroke", "air per cycle", "grams per cylinder",
            "luftmasse pro hub", "luftmasse hub", "luftmasse je hub", "luftmasse pro zylinder",
            "frischluftmasse pro hub", "zylinderfüllung",
        ),
    ),
    Wording("fuel_volume_flow", SAE, ("engine fuel rate",)),
    Wording(
        "fuel_mass_flow",
        TRADE,
        (
            "fuel flow", "fuel rate", "fuel mass flow", "fuel consumption", "fuel flow rate",
            "fuel mass", "fuel mass rate", "fuel mass flow rate", "fuel consumption rate",
            "cylinder fuel rate", "vehicle fuel rate", "instantaneous fuel consumption",
            "kraftstoffverbrauch", "kraftstoffmasse", "engine fuel mass flow",
            "kraftstoffmassenstrom", "kraftstoffdurchfluss", "kraftstoffdurchsatz", "verbrauch",
        ),
    ),
    Wording(
        "fuel_volume_flow",
        TRADE,
        ("fuel volume flow", "fuel volume rate", "fuel volume flow rate", "volumetric fuel flow"),
    ),
    Wording(
        "fuel_per_stroke",
        TRADE,
        (
            "injection quantity", "fuel per stroke", "injected quantity", "fuel quantity",
            "total injection quantity", "injected fuel", "injected fuel quantity",
            "fuel injection quantity", "injected mass", "fuel mass per stroke", "iq",
            "injection mass", "fuel mass per cylinder", "total fuel quantity", "fuel injected",
            "fuel per cylinder", "einspritzmenge", "quantity injected", "cylinder fuel mass",
            "injection quantity total", "fuelling", "fueling", "total injected quantity",
            "fuel stroke", "fuel injected per stroke", "fuel quantity per stroke",
            "injection quantity per stroke", "injected quantity per stroke", "fuel per injection",
            "injected fuel mass", "fuel per cycle", "injection quantity stroke",
            "einspritzmasse", "kraftstoffmenge", "kraftstoff pro hub", "kraftstoff je hub",
            "einspritzmenge pro hub", "einspritzmenge je hub", "kraftstoffmasse pro hub",
            "eingespritzte menge", "gesamteinspritzmenge",
        ),
    ),
    Wording("fuel_volume_per_stroke", TRADE, ("fuel volume per stroke", "injected volume")),
    Wording(
        "lambda",
        SAE,
        (
            "equivalence ratio lambda", "o2 equivalence ratio lambda",
            "o2 lambda", "o2 wide range lambda", "oxygen lambda",
        ),
    ),
    Wording(
        "lambda",
        TRADE,
        (
            "lambda", "afr", "air fuel ratio", "wideband", "wide band", "wideband lambda",
            "wide band lambda", "lambda wideband", "wideband afr", "exhaust lambda",
            "lambda value", "air fuel equivalence ratio", "wideband o2", "lambda ratio",
            "measured lambda", "wideband air fuel ratio", "air fuel ratio afr", "lambda probe",
            "air fuel", "a f ratio", "afr wideband", "lambdawert", "exhaust afr",
            "lambda breitband", "breitbandlambda", "breitband lambda", "luftverhältnis",
        ),
    ),
    Wording(
        "exhaust_oxygen",
        TRADE,
        (
            "exhaust oxygen", "exhaust o2", "o2 concentration", "oxygen concentration",
            "exhaust oxygen concentration", "exhaust o2 concentration", "o2 dry", "o2 content",
            "exhaust o2 dry",
            "tailpipe o2", "sauerstoff im abgas", "sauerstoff abgas", "restsauerstoff",
        ),
    ),
    Wording(
        "exhaust_carbon_dioxide",
        TRADE,
        (
            "exhaust carbon dioxide", "exhaust co2", "co2", "co2 concentration", "co2 dry",
            "exhaust co2 concentration", "tailpipe co2", "carbon dioxide", "exhaust co2 dry",
        ),
    ),
    Wording(
        "egr_rate",
        TRADE,
        (
            "egr rate", "egr mass fraction", "exhaust gas recirculation rate", "egr fraction",
            "egr mass rate", "agr rate", "abgasrückführrate", "abgasrückführungsrate",
        ),
    ),
    Wording(
        "brake_power",
        TRADE,
        (
            "brake power", "power", "engine power", "brake horsepower", "horsepower",
            "flywheel power", "crank power", "bhp", "hp", "leistung", "motorleistung",
            "engine brake power", "uncorrected power", "power uncorrected", "kw",
            "measured power uncorrected", "uncorrected engine power", "engine power uncorrected",
            "leistung unkorrigiert", "motorleistung unkorrigiert", "kupplungsleistung", "engine hp",
            "crank hp", "crank horsepower", "engine horsepower", "motor ps",
        ),
    ),
    Wording(
        "brake_torque",
        TRADE,
        (
            "brake torque", "torque", "engine torque", "flywheel torque", "engine brake torque",
            "drehmoment", "crank torque", "motordrehmoment", "dyno torque",
        ),
    ),
    Wording(
        "inlet_depression",
        TRADE,
        (
            "inlet depression", "intake depression", "inlet restriction", "intake restriction",
            "air filter restriction", "filter pressure drop", "air filter pressure drop",
            "air filter depression", "airbox depression", "compressor inlet depression",
            "filter restriction", "air filter delta p", "intake pressure drop", "ansaugunterdruck",
            "unterdruck luftfilter", "luftfilter unterdruck", "luftfilterunterdruck",
            "unterdruck ansaugung", "differenzdruck luftfilter",
        ),
    ),
    Wording("turbo_speed", SAE, ("turbocharger rpm",)),
    Wording(
        "turbo_speed",
        TRADE,
        (
            "turbo speed", "turbocharger speed", "turbine speed", "compressor speed", "turbo rpm",
            "turbo shaft speed", "turboladerdrehzahl", "turbo shaft rpm", "n turbo",
        ),
    ),
    *DRIVING_WORDINGS,
    *WANTED_WORDINGS,
)  # fmt: skip
