"""Air that passes the sensor and not the engine is named in the answer."""

from __future__ import annotations

import pytest

from airsense.evidence.causes import CauseResult, leak_sentence
from airsense.evidence.priors import Cause


def cause(kind: Cause, probability: float) -> CauseResult:
    return CauseResult(cause=kind, probability=probability, size=None, not_separable_from=())


@pytest.mark.parametrize(
    ("kind", "probability", "words"),
    [
        (Cause.LEAK_AFTER_COMPRESSOR, 0.68, "a leak after the compressor (probability 68 %)"),
        (Cause.LEAK_AFTER_COMPRESSOR, 0.9999, "(probability > 99 %)"),
        (Cause.LEAK_BEFORE_COMPRESSOR, 0.5, "a leak before the compressor (probability 50 %)"),
    ],
)
def test_a_likely_leak_is_said_to_take_what_is_left_over(
    kind: Cause, probability: float, words: str
) -> None:
    ranked = (cause(Cause.MANIFOLD_PRESSURE, 0.98), cause(kind, probability))
    assert words in leak_sentence(ranked)


def test_an_unlikely_leak_is_not_spoken_of() -> None:
    assert leak_sentence((cause(Cause.LEAK_AFTER_COMPRESSOR, 0.31),)) == ""
    assert leak_sentence((cause(Cause.SENSOR_SCALE, 0.95),)) == ""
