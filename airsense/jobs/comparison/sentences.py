"""What a pair's answer says, in a workshop's words."""

from __future__ import annotations

from dataclasses import dataclass

from airsense.evidence.verdict import ReadingCause, Verdict
from airsense.results import Interval

# Power that lags behind the air by this is worth a sentence.
LAG = 0.01


def percent(value: float) -> str:
    """Return a fraction as a signed percentage with one decimal."""
    shown = round(100.0 * value, 1)
    return f"{shown:+.1f} %" if shown else "0.0 %"  # nothing has no sign


def range_text(interval: Interval) -> str:
    """Return 'value (low to high)' in percent."""
    return f"{percent(interval.value)} ({percent(interval.low)} to {percent(interval.high)})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """The numbers that a sentence may use; None where there was no match."""

    verdict: Verdict
    reading_cause: ReadingCause
    indicated: Interval | None = None
    engine: Interval | None = None
    weather: Interval | None = None
    intake: Interval | None = None
    demand: Interval | None = None
    feedback: Interval | None = None
    surplus: Interval | None = None


_SOURCE = {
    ReadingCause.SENSOR: "the sensor reads differently in the new intake",
    ReadingCause.AIR_LOST_BEHIND_SENSOR: "air is lost behind the sensor",
    ReadingCause.OPEN: "whether the sensor reads differently or air is lost behind it is open",
    ReadingCause.NONE: "the reading itself has not changed",
}


def sentence(told: Told) -> str:
    """Return the answer in one or two sentences with its intervals."""
    if told.surplus is None:
        return (
            "Not decided: the logs before and after share no state that can be compared; the "
            "findings say what is missing."
        )
    if told.engine is None or told.intake is None or told.indicated is None:
        return _reading(told)
    surplus = f"{range_text(told.surplus)} of the reading never reaches the engine"
    intake = f"the intake gave {range_text(told.intake)} air"
    shown = f"the sensor shows {percent(told.indicated.value)}"
    engine = f"the engine breathes {range_text(told.engine)}"
    hides = told.surplus.value < 0.0
    return {
        Verdict.GAIN_SUPPORTED: f"The gain is real and the intake's: {intake}; {shown}, {engine}.",
        Verdict.PARTLY_SUPPORTED: f"Part of it is real: {intake}, while {shown}; "
        + (
            f"the sensor hides part of the gain, its reading is {range_text(told.surplus)} off."
            if hides
            else f"{surplus}."
        ),
        Verdict.LOSS_SUPPORTED: f"The engine gets less through this intake: {intake}; {shown}, "
        f"{engine}.",
        Verdict.GAIN_ELSEWHERE: f"The engine breathes more, {range_text(told.engine)}, but not by "
        f"the intake, which gave {range_text(told.intake)}: {_elsewhere(told)}.",
        Verdict.READING_ONLY: _of_the_reading(told, shown, surplus),
        Verdict.NO_CHANGE: f"No change: {intake}, and {surplus}.",
        Verdict.UNDETERMINED: f"Not decided: {shown}; {intake}, {engine}, and {surplus}.",
    }[told.verdict]


def _of_the_reading(told: Told, shown: str, surplus: str) -> str:
    assert told.engine is not None and told.intake is not None
    if told.engine.low <= 0.0:
        return (
            f"Only the reading is shown to change: {shown}, and {surplus}; "
            f"{_SOURCE[told.reading_cause]}."
        )
    return (
        f"Part of it is in the reading only: {shown}, and {surplus}; "
        f"{_SOURCE[told.reading_cause]}. The engine breathes {range_text(told.engine)} too; how "
        f"much of that the intake gave is open, {range_text(told.intake)}."
    )


def _reading(told: Told) -> str:
    assert told.surplus is not None
    off = range_text(told.surplus)
    tail = "The engine's own change was not looked at: there is no full load to match."
    return {
        Verdict.READING_ONLY: f"The reading changed by {off} against the engine's air; "
        f"{_SOURCE[told.reading_cause]}. {tail}",
        Verdict.NO_CHANGE: f"The reading did not change against the engine's air: {off}. {tail}",
    }.get(
        told.verdict, f"Not decided: the reading changed by {off} against the engine's air. {tail}"
    )


def _elsewhere(told: Told) -> str:
    parts = {"the weather": told.weather, "boost demand": told.demand, "fuelling": told.feedback}
    known = {name: part for name, part in parts.items() if part is not None}
    name, part = max(known.items(), key=lambda item: item[1].value)
    text = f"{name} gave {range_text(part)}"
    if told.surplus is not None and abs(told.surplus.value) >= LAG:
        text += f", and {range_text(told.surplus)} is in the reading only"
    return text


def tune_sentence(told: Told) -> str:
    """Return the answer on two tunes of one intake."""
    if told.engine is None or told.indicated is None:
        return _reading(told) if told.surplus is not None else sentence(told)
    engine = f"the engine breathes {range_text(told.engine)} with the second tune"
    return {
        Verdict.TUNE_GAIN_SUPPORTED: f"The second tune gives more air: {engine}. This says "
        "nothing of an intake.",
        Verdict.TUNE_NO_GAIN: f"The second tune gives no more air: {engine}.",
    }.get(told.verdict, f"Not decided: {engine}.")


def power_sentences(
    engine: Interval | None, fuel: Interval | None, power: Interval | None, surplus: Interval | None
) -> tuple[str, ...]:
    """Return what power and fuel say beside the air, without lambda too."""
    out = []
    if power is not None and engine is not None:
        shown = f"power changed by {range_text(power)} and air by {range_text(engine)}"
        if engine.low > 0.0 and power.high < engine.low:
            out.append(f"Power did not follow the air: {shown}.")
        elif power.low > 0.0 and engine.low > 0.0:
            out.append(f"Power followed the air: {shown}.")
        elif power.low > LAG and engine.high < power.low:
            out.append(f"Power rose by more than the air: {shown}.")
    if power is not None and fuel is not None and power.low > 0.0:
        if fuel.low <= power.value <= fuel.high or fuel.low > 0.0:
            out.append(
                f"Fuel explains the power: fuel changed by {range_text(fuel)}, "
                f"power by {range_text(power)}."
            )
        if (
            surplus is not None
            and surplus.low > 0.0
            and fuel.low > 0.0
            and (engine is None or engine.low <= 0.0)
        ):
            out.append(
                "The controller fuels to the reading: the surplus of the reading alone can have "
                "made this power, with no more air."
            )
    return tuple(out)
