"""A ceiling that shows in one log holds for all logs of the same sensor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from airsense.arrays import BoolArray, spans
from airsense.logs.log import Channel, Log

CODE = "ceiling"
# So many samples in a row at the highest value of a log, where another log shows a flat top, are
# one too: our choice.
LEAST = 4


def with_one_ceiling(logs: Sequence[Log]) -> list[Log]:
    """Return the logs without air-flow samples at a top that another log shows to be flat."""
    if not any(f.code == CODE for log in logs for f in log.findings):
        return list(logs)
    return [_without_top(log) for log in logs]


def _without_top(log: Log) -> Log:
    if "mass_air_flow" not in log or not log["mass_air_flow"].value.size:
        return log
    channel: Channel = log["mass_air_flow"]
    top = channel.value == channel.value.max()
    if _longest(top) < LEAST:
        return log
    kept = replace(channel, time_s=channel.time_s[~top], value=channel.value[~top])
    return replace(log, channels={**log.channels, "mass_air_flow": kept})


def _longest(mask: BoolArray) -> int:
    """Return the length of the longest stretch of true samples."""
    return max((stop - first for first, stop in spans(mask)), default=0)
