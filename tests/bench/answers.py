"""What a comparison says, read from its JSON by the keys that others rely on."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass
from typing import Any

from airsense.report.as_json import to_json
from airsense.results import Interval

VERDICTS = (
    "gain_supported",
    "partly_supported",
    "loss_supported",
    "gain_elsewhere",
    "reading_only",
    "no_change",
    "undetermined",
)
GAIN_WORDS = frozenset({"gain_supported", "partly_supported"})
SHARE_SHOWN = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One pair of a comparison.

    `intervals` holds those that the result gives; what it leaves null is not in it. `causes` are
    in the result's order, `probabilities` beside them; `group` is the first with those that the
    data cannot tell from it.
    """

    verdict: str
    reading_cause: str
    intervals: dict[str, Interval]
    causes: tuple[str, ...]
    probabilities: tuple[float, ...]
    group: frozenset[str]
    routes_used: int
    window_rpm: tuple[float, float] | None
    segments: str
    findings: tuple[str, ...]

    def interval(self, key: str) -> Interval | None:
        """Return an interval, or none where the result gives none."""
        return self.intervals.get(key)

    @property
    def leading(self) -> str:
        """The causes that count, likeliest first."""
        pairs = zip(self.causes, self.probabilities, strict=True)
        return ", ".join(f"{c} {p:.2f}" for c, p in pairs if p >= SHARE_SHOWN)


def answer_of(result: Any) -> Answer:
    """Return what the first pair of a result says; a key that is missing is an error."""
    plain = json.loads(to_json(result))
    pair = plain["pairs"][0]
    window = (plain["window"] or {}).get("engine_speed_rpm")
    first = pair["causes"][0]
    return Answer(
        verdict=pair["verdict"],
        reading_cause=pair["reading_cause"],
        intervals={key: _interval(value) for key, value in pair.items() if _is_interval(value)},
        causes=tuple(row["cause"] for row in pair["causes"]),
        probabilities=tuple(row["probability"] for row in pair["causes"]),
        group=frozenset((first["cause"], *first["not_separable_from"])),
        routes_used=sum(row["used"] for row in pair["estimates"]),
        window_rpm=tuple(window) if window and None not in window else None,
        segments="; ".join(_segments(log) for log in plain["logs"]),
        findings=tuple(row["code"] for row in plain["findings"]),
    )


def _is_interval(value: Any) -> bool:
    return isinstance(value, dict) and {"value", "low", "high"} <= value.keys()


def _interval(value: dict[str, float]) -> Interval:
    return Interval(value["value"], value["low"], value["high"])


def _segments(log: dict[str, Any]) -> str:
    """Return how many segments of each kind a log gave, used of found."""
    found = Counter(s["kind"] for s in log["segments"])
    used = Counter(s["kind"] for s in log["segments"] if s["used"])
    odd = " ODD" if log.get("odd") else ""
    return " ".join(f"{kind} {used[kind]}/{n}" for kind, n in found.items()) + odd
