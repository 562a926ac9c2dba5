"""[priors.CAUSE] as frozen models: the user's own probability and size of a cause."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from pydantic import Field, model_validator

from airsense.cause import Cause
from airsense.setup.declared import Declared

# A larger size is another unit.
MAX_FRACTION = 1.0
MAX_KELVIN = 100.0


class DeclaredPrior(Declared):
    """Probability and size (k = 1) of one cause: a fraction of the flow, or K for temperatures.

    None keeps the value of the table.
    """

    probability: Annotated[float, Field(ge=0.0, le=1.0, strict=True)] | None = None
    size: Annotated[float, Field(gt=0.0, le=MAX_KELVIN, strict=True)] | None = None

    @model_validator(mode="after")
    def _says_something(self) -> DeclaredPrior:
        if self.probability is None and self.size is None:
            raise ValueError("probability, size or both")
        return self


def check_sizes(priors: Mapping[Cause, DeclaredPrior]) -> None:
    """Refuse a fraction above one, and a prior of no cause.

    Raises
    ------
    ValueError
        For pydantic, with what is allowed.
    """
    if Cause.NONE in priors:
        raise ValueError("no prior of its own for none: it is what the causes leave")
    for cause, prior in priors.items():
        kelvin = cause is Cause.CHARGE_TEMPERATURE
        if not kelvin and prior.size is not None and prior.size > MAX_FRACTION:
            raise ValueError(f"size of {cause.value}: a fraction of the flow, above 0 and up to 1")
