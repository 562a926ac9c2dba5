"""Words for what is wanted, actuated or measured at the wheels: the second part of the table."""

from __future__ import annotations

from airsense.logs.wording import SAE, TRADE, Wording

_PRESSURES = (
    "boost", "boost pressure", "turbo boost", "turbo boost pressure", "turbo pressure",
    "charge pressure", "charge air pressure", "manifold pressure", "manifold absolute pressure",
    "intake manifold pressure", "intake manifold absolute pressure", "map", "ladedruck",
    "turbocharger boost pressure", "inlet manifold pressure",
)  # fmt: skip
_KINDS = ("", "absolute", "absolut", "gauge", "relative", "relativ")
_WANTED = (
    "demand", "demanded", "target", "setpoint", "set point", "desired", "requested", "request",
    "commanded", "command", "specified", "wanted", "nominal", "soll", "sollwert", "vorgabe",
    "gewünscht", "required",
)  # fmt: skip
_DEMANDS = tuple(
    f"{pressure} {kind} {wanted}"
    for pressure in _PRESSURES
    for kind in _KINDS
    for wanted in _WANTED
)

WANTED_WORDINGS = (
    Wording("boost_demand", SAE, ("commanded boost pressure",)),
    Wording(
        "boost_demand",
        TRADE,
        (
            *_DEMANDS, "ladedrucksoll", "ladedrucksollwert", "sollladedruck", "soll ladedruck",
            "ladedruckvorgabe", "ladedruckanforderung", "ladedruck anforderung",
        ),
    ),
    Wording("wastegate", SAE, ("wastegate position", "commanded wastegate position")),
    Wording(
        "wastegate",
        TRADE,
        (
            "wastegate", "waste gate", "wastegate duty", "wastegate duty cycle", "wastegate valve",
            "wastegate valve position", "wastegate opening", "wastegate solenoid duty",
            "wastegate solenoid duty cycle", "wastegate solenoid", "wastegate dc", "wgdc",
            "wastegate control", "boost control duty", "boost control duty cycle",
            "boost solenoid duty", "boost solenoid duty cycle", "boost control solenoid duty",
            "boost control solenoid duty cycle", "boost valve duty cycle", "boost control valve",
            "waste gate position", "waste gate duty cycle", "ladedruckregelventil",
            "ladedruckventil", "tastverhältnis ladedruck", "tastverhältnis ladedruckventil",
            "wastegateventil", "wastegate stellung", "wastegate tastverhältnis",
        ),
    ),
    Wording(
        "wheel_power",
        TRADE,
        (
            "wheel power", "power wheel", "power wheels", "power wheels engine",
            "wheel horsepower", "wheel hp", "wheel kw", "wheel ps", "wheels hp", "wheels kw",
            "horsepower wheels", "whp", "rwhp", "fwhp", "wkw", "hub power", "hub horsepower",
            "power hubs", "roller power", "power rollers", "power roller", "chassis power",
            "tractive power", "radleistung", "leistung rad", "leistung am rad", "rad leistung",
            "leistung an den rädern", "leistung räder", "leistung rädern", "rollenleistung",
            "leistung rolle", "leistung an der rolle", "rad ps", "rad kw", "nabenleistung",
        ),
    ),
    Wording(
        "wheel_torque",
        TRADE,
        (
            "wheel torque", "torque wheel", "torque wheels", "hub torque", "torque hubs",
            "roller torque", "torque rollers", "wtq", "axle torque", "radmoment",
            "raddrehmoment", "rad drehmoment", "drehmoment rad", "drehmoment am rad",
            "drehmoment an den rädern", "drehmoment räder",
        ),
    ),
    Wording("fuel_trim_short", SAE, ("short term fuel trim",)),
    Wording(
        "fuel_trim_short",
        TRADE,
        (
            "short fuel trim", "fuel trim short", "fuel trim short term", "stft", "st fuel trim",
            "short term trim", "short trim", "shrt ft", "kurzzeit kraftstoffkorrektur",
            "kurzzeitkorrektur", "kurzzeit gemischkorrektur", "gemischkorrektur kurz",
            "kraftstoffkorrektur kurzzeit", "kurzzeittrimm", "kurzzeit trimm",
        ),
    ),
    Wording("fuel_trim_long", SAE, ("long term fuel trim",)),
    Wording(
        "fuel_trim_long",
        TRADE,
        (
            "long fuel trim", "fuel trim long", "fuel trim long term", "ltft", "lt fuel trim",
            "long term trim", "long trim", "long ft", "langzeit kraftstoffkorrektur",
            "langzeitkorrektur", "langzeit gemischkorrektur", "gemischkorrektur lang",
            "kraftstoffkorrektur langzeit", "langzeittrimm", "langzeit trimm",
        ),
    ),
    Wording(
        "injector_time",
        TRADE,
        (
            "injector time", "injection time", "injector pulse width", "injection pulse width",
            "injector pulsewidth", "injection pulsewidth", "injector on time", "ipw",
            "injector opening time", "injector duration", "injection duration",
            "injector open time", "fuel pulse width", "fuel pulsewidth", "pulse width",
            "injector pulse", "injector pw", "injection pw", "einspritzzeit", "einspritzdauer",
            "injector pulse time",
        ),
    ),
    Wording(
        "fuel_mass_flow",
        TRADE,
        ("fuel", "kraftstoff", "diesel", "petrol", "fuel delivered", "fuel delivery"),
        unit_tells=True,
    ),
    Wording("mass_air_flow", TRADE, ("air", "luft"), unit_tells=True),
    Wording("engine_speed", TRADE, ("n",), unit_tells=True),
)  # fmt: skip
