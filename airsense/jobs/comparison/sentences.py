"""What a pair's answer says, in a workshop's words."""

from __future__ import annotations

from airsense.evidence.verdict import ReadingCause, Verdict
from airsense.jobs.comparison.result import PairResult
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


_SOURCE = {
    ReadingCause.SENSOR: "the sensor reads differently in the new intake",
    ReadingCause.AIR_LOST_BEHIND_SENSOR: "most of that is air lost behind the sensor",
    ReadingCause.OPEN: "whether the sensor reads differently or air is lost behind it is open",
    ReadingCause.NONE: "the reading itself has not changed",
}


def _source(pair: PairResult) -> str:
    """Return where the surplus of the reading comes from."""
    surplus = pair.indicated_surplus
    lost = pair.reading_cause is ReadingCause.AIR_LOST_BEHIND_SENSOR
    if lost and surplus is not None and surplus.value < 0.0:
        return "air is drawn in behind the sensor"
    return _SOURCE[pair.reading_cause]


def sentence(pair: PairResult) -> str:
    """Return the answer in one or two sentences with its intervals."""
    if pair.indicated_surplus is None:
        return (
            "Not decided: the logs before and after share no state that can be compared; the "
            "findings say what is missing."
        )
    if (
        pair.airflow_change is None
        or pair.airflow_change_intake is None
        or pair.airflow_change_indicated is None
    ):
        return _reading(pair)
    off, gave = range_text(pair.indicated_surplus), range_text(pair.airflow_change_intake)
    breathes = range_text(pair.airflow_change)
    surplus = f"{off} of the reading never reaches the engine"
    intake = f"the intake gave {gave} air"
    shown = f"the sensor shows {percent(pair.airflow_change_indicated.value)}"
    engine = f"the engine breathes {breathes}"
    hides = pair.indicated_surplus.value < 0.0
    return {
        Verdict.GAIN_SUPPORTED: f"The gain is real and the intake's: {intake}; {shown}, {engine}.",
        Verdict.PARTLY_SUPPORTED: f"Part of it is real: {intake}, while {shown}; "
        + (
            f"the sensor hides part of the gain, its reading is {off} off."
            if hides
            else f"{surplus}."
        ),
        Verdict.LOSS_SUPPORTED: f"The engine gets less through this intake: {intake}; {shown}, "
        f"{engine}.",
        Verdict.GAIN_ELSEWHERE: f"The engine breathes more, {breathes}, but not by the intake, "
        f"which gave {gave}: {_elsewhere(pair)}.",
        Verdict.READING_ONLY: _of_the_reading(pair, shown, surplus),
        Verdict.NO_CHANGE: f"No change: {intake}, and {surplus}.",
        Verdict.UNDETERMINED: f"Not decided: {shown}; {intake}, {engine}, and {surplus}.",
    }[pair.verdict]


def _of_the_reading(pair: PairResult, shown: str, surplus: str) -> str:
    assert pair.airflow_change is not None and pair.airflow_change_intake is not None
    if pair.airflow_change.low <= 0.0:
        return f"Only the reading is shown to change: {shown}, and {surplus}; {_source(pair)}."
    return (
        f"Part of it is in the reading only: {shown}, and {surplus}; "
        f"{_source(pair)}. The engine breathes {range_text(pair.airflow_change)} "
        f"too; how much of that the intake gave is open, {range_text(pair.airflow_change_intake)}."
    )


def _reading(pair: PairResult) -> str:
    assert pair.indicated_surplus is not None
    off = range_text(pair.indicated_surplus)
    tail = "The engine's own change was not looked at: there is no full load to match."
    return {
        Verdict.READING_ONLY: f"The reading changed by {off} against the engine's air; "
        f"{_source(pair)}. {tail}",
        Verdict.NO_CHANGE: f"The reading did not change against the engine's air: {off}. {tail}",
    }.get(
        pair.verdict, f"Not decided: the reading changed by {off} against the engine's air. {tail}"
    )


def _elsewhere(pair: PairResult) -> str:
    parts = {
        "the weather": pair.airflow_change_weather,
        "boost demand": pair.airflow_change_demand,
        "fuelling": pair.airflow_change_feedback,
    }
    known = {name: part for name, part in parts.items() if part is not None}
    name, part = max(known.items(), key=lambda item: item[1].value)
    text = f"{name} gave {range_text(part)}"
    if pair.indicated_surplus is not None and abs(pair.indicated_surplus.value) >= LAG:
        text += f", and {range_text(pair.indicated_surplus)} is in the reading only"
    return text


def tune_sentence(pair: PairResult) -> str:
    """Return the answer on two tunes of one intake."""
    if pair.airflow_change is None or pair.airflow_change_tune is None:
        return _reading(pair) if pair.indicated_surplus is not None else sentence(pair)
    engine = (
        f"at the same weather the engine breathes {range_text(pair.airflow_change_tune)} with the "
        f"second tune ({range_text(pair.airflow_change)} as it was run)"
    )
    return {
        Verdict.TUNE_GAIN_SUPPORTED: f"The second tune gives more air: {engine}. This says "
        "nothing of an intake.",
        Verdict.TUNE_NO_GAIN: f"The second tune gives no more air: {engine}.",
    }.get(pair.verdict, f"Not decided: {engine}.")


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
