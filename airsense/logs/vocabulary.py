"""The words that headers use for each canonical channel, from `reference_data/header_words.csv`.

Words are compared as sets, without case, order, punctuation and fillers; one word too many
("desired", "target", "calculated") and the header is not this quantity. What is demanded of the
boost pressure is built here: any pressure with any word for wanting it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from airsense.reference import reference_rows

SAE, TRADE = 1, 2  # ranks: the wording of SAE J1979 goes first

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


@dataclass(frozen=True, slots=True)
class Wording:
    """A phrase that stands for a canonical channel.

    With `unit_tells` the phrase alone is too little ("fuel" may be the tank's level): it counts
    only beside a written unit, of fuel one of flow or of a mass or volume per stroke.
    """

    name: str
    rank: int
    phrase: str
    unit_tells: bool = False


WORDINGS = (
    *(
        Wording(
            name=row["channel"],
            rank=SAE if row["wording"] == "SAE" else TRADE,
            phrase=row["phrase"],
            unit_tells=row["unit_tells"] == "yes",
        )
        for row in reference_rows("header_words.csv")
    ),
    *(
        Wording("boost_demand", TRADE, " ".join(words))
        for words in product(_PRESSURES, _KINDS, _WANTED)
    ),
)
