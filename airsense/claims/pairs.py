"""Which rows are one configuration, which configurations are compared, and which a claim means."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from airsense.claims.change import Pair
from airsense.claims.context import Configuration
from airsense.claims.point import Point
from airsense.errors import InputError
from airsense.setup.claims import Claim, Result

# Rows of one configuration nearer than this in speed are repeats of one operating point.
SAME_SPEED = 0.02
# With more intakes than this at a tune, each is compared with the first one only.
ALL_PAIRS_UP_TO = 4


def configurations_of(rows: Sequence[Result]) -> tuple[Configuration, ...]:
    """Group rows by intake and tune, and by engine speed where one has several."""
    names = dict.fromkeys((row.intake, row.tune) for row in rows)
    out: list[Configuration] = []
    for intake, tune in names:
        own = [row for row in rows if (row.intake, row.tune) == (intake, tune)]
        groups = _by_speed(own)
        for group in groups:
            speed = group[0].engine_speed
            text = speed.text if speed is not None and len(groups) > 1 else ""
            out.append(Configuration(intake=intake, tune=tune, rows=tuple(group), speed_text=text))
    return tuple(out)


def _by_speed(rows: Sequence[Result]) -> list[list[Result]]:
    groups: list[list[Result]] = []
    for row in rows:
        home = next((g for g in groups if _same_speed(g[0], row)), None)
        if home is None:
            groups.append([row])
        else:
            home.append(row)
    return groups


def _same_speed(first: Result, second: Result) -> bool:
    a, b = first.engine_speed, second.engine_speed
    if a is None or b is None:
        return a is b
    return abs(a.value / b.value - 1.0) <= SAME_SPEED


def pairs_of(points: Sequence[Point], claimed: Sequence[Pair]) -> tuple[Pair, ...]:
    """Return the claimed pairs, then the others at one tune and speed, each once."""
    out = list(claimed)
    for tune in dict.fromkeys(p.configuration.tune for p in points):
        own = [p for p in points if p.configuration.tune == tune]
        combined = list(combinations(own, 2))
        if len({p.configuration.intake for p in own}) > ALL_PAIRS_UP_TO:
            first = own[0].configuration.intake
            combined = [c for c in combined if c[0].configuration.intake == first]
        out += [Pair(a, b) for a, b in combined if _comparable(a, b)]
    unique: list[Pair] = []
    for pair in out:
        if not any(same_pair(pair, other) for other in unique):
            unique.append(pair)
    return tuple(unique)


def same_pair(first: Pair, second: Pair) -> bool:
    """Return whether two pairs compare the same configurations, in either order."""
    ends = {first.before.configuration.name, first.after.configuration.name}
    return ends == {second.before.configuration.name, second.after.configuration.name}


def _comparable(first: Point, second: Point) -> bool:
    a, b = first.configuration, second.configuration
    if a.intake == b.intake:
        return False
    if not a.speed_text and not b.speed_text:
        return True
    return _same_speed(a.rows[0], b.rows[0])


def pair_of(claim: Claim, points: Sequence[Point], source: str) -> Pair:
    """Return the two configurations that a claim compares.

    Raises
    ------
    InputError
        If the results do not print them, or do not print the claimed quantity.
    """
    tune = _tune_of(claim, points, source)
    before = _candidates(claim, claim.from_, tune, points, source)
    after = _candidates(claim, claim.to, tune, points, source)
    if claim.engine_speed is not None:
        wanted = claim.engine_speed.value
        return Pair(_nearest(before, wanted), _nearest(after, wanted))
    matched = [(a, b) for a in before for b in after if _comparable(a, b)]
    if matched:
        # A claim that names no speed is read as one of the peak.
        return Pair(*max(matched, key=lambda ab: _value(ab[1], claim)))
    return Pair(
        max(before, key=lambda p: _value(p, claim)), max(after, key=lambda p: _value(p, claim))
    )


def _value(point: Point, claim: Claim) -> float:
    figure = point.printed(claim.quantity.value)
    return float("-inf") if figure is None else figure.value


def _nearest(points: Sequence[Point], speed_rpm: float) -> Point:
    def distance(point: Point) -> float:
        speed = point.configuration.rows[0].engine_speed
        return float("inf") if speed is None else abs(speed.value - speed_rpm)

    return min(points, key=distance)


def _tune_of(claim: Claim, points: Sequence[Point], source: str) -> str:
    if claim.tune is not None:
        return claim.tune
    shared = [
        tune
        for tune in dict.fromkeys(p.configuration.tune for p in points)
        if {claim.from_, claim.to}
        <= {p.configuration.intake for p in points if p.configuration.tune == tune}
    ]
    if len(shared) > 1:
        raise InputError(
            "a claim does not say at which tune",
            where=f"{source}, [[claim]] {claim.quantity.value}, {claim.from_} to {claim.to}",
            got="no tune",
            allowed=", ".join(repr(tune) for tune in shared),
            fix="add tune to the claim",
        )
    return shared[0] if shared else ""


def _candidates(
    claim: Claim, intake: str, tune: str, points: Sequence[Point], source: str
) -> list[Point]:
    where = f"{source}, [[claim]] {claim.quantity.value}, {claim.from_} to {claim.to}"
    own = [p for p in points if p.configuration.intake == intake and p.configuration.tune == tune]
    if not own:
        known = dict.fromkeys(f"{p.configuration.intake} / {p.configuration.tune}" for p in points)
        raise InputError(
            "a claim names an intake and tune that no result prints",
            where=where,
            got=f"{intake} / {tune}",
            allowed=", ".join(known),
            fix="add that [[result]], or spell intake and tune as there",
        )
    name = claim.quantity.value
    printed = [p for p in own if p.printed(name) is not None]
    if not printed:
        raise InputError(
            f"a claim is about {name}, which its result does not print",
            where=where,
            got=f"no {name} in the [[result]] of {intake} / {tune}",
            allowed=f"{name} in both results that the claim compares",
            fix=f"add {name} to that [[result]], or take the claim out",
        )
    return printed
