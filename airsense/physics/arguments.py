"""Turn arguments into float arrays and refuse the impossible ones."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import BoolArray, FloatArray
from airsense.errors import InputError


def floats(value: ArrayLike) -> FloatArray:
    """Return `value` as a float64 array; NaN stays NaN."""
    return np.asarray(value, dtype=np.float64)


def positive(value: ArrayLike, name: str) -> FloatArray:
    """Return `value` as floats; an element at or below zero is an InputError."""
    array = floats(value)
    _refuse(array, array <= 0.0, name, "above zero")
    return array


def not_negative(value: ArrayLike, name: str) -> FloatArray:
    """Return `value` as floats; an element below zero is an InputError."""
    array = floats(value)
    _refuse(array, array < 0.0, name, "zero or above")
    return array


def between(value: ArrayLike, low: float, high: float, *, name: str) -> FloatArray:
    """Return `value` as floats; an element outside [low, high] is an InputError."""
    array = floats(value)
    _refuse(array, (array < low) | (array > high), name, f"{low:g} to {high:g}")
    return array


def _refuse(array: FloatArray, bad: BoolArray, name: str, allowed: str) -> None:
    if np.any(bad):
        raise InputError(
            f"{name} is not a possible value",
            where=f"argument {name}",
            got=f"{float(array[bad].flat[0]):g} in {int(np.count_nonzero(bad))} of {array.size}",
            allowed=allowed,
            fix=f"check the unit and the source of {name}; mark a missing sample as NaN",
        )


def increasing(value: ArrayLike, name: str) -> FloatArray:
    """Return `value` as floats; an InputError unless it is a strictly increasing sequence."""
    array = floats(value)
    if array.ndim != 1:
        raise InputError(
            f"{name} is not a sequence",
            where=f"argument {name}",
            got=f"an array of {array.ndim} dimensions",
            allowed="one dimension",
            fix="give one time for each sample",
        )
    step = np.diff(array)
    _refuse(step, ~(step > 0.0), f"step of {name}", "above zero")
    return array
