"""A result as JSON: SI units and plain fractions, keys as the fields are called."""

from __future__ import annotations

import dataclasses
import json
import math
from enum import Enum
from typing import Any

import numpy as np


def to_plain(value: Any) -> Any:
    """Return dataclasses, enums, tuples and numpy values as plain JSON types; NaN becomes null.

    A trailing underscore, which Python needs to tell `lambda_` from a keyword, is dropped.
    """
    if isinstance(value, Enum | np.generic):
        return to_plain(value.value if isinstance(value, Enum) else value.item())
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            field.name.rstrip("_"): to_plain(getattr(value, field.name))
            for field in dataclasses.fields(value)
        }
    if isinstance(value, dict):
        return {str(key): to_plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [to_plain(item) for item in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def to_json(result: Any) -> str:
    """Return a result as JSON text."""
    return json.dumps(to_plain(result), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
