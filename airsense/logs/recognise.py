"""Headers -> canonical channels, by the user's word, the canonical names and the vocabulary."""

from __future__ import annotations

import difflib
import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

from airsense.errors import InputError
from airsense.logs.banks import ADDED, without_bank
from airsense.logs.canon import BLOCKING, BY_UNIT, CANON
from airsense.logs.corrected import POWERS, TORQUES, without_correction
from airsense.logs.headers import Header, Reading, readings
from airsense.logs.vocabulary import TRADE, WORDINGS
from airsense.logs.words import FILLERS, UNIT_WORDS, words
from airsense.results import Finding, Severity
from airsense.units import converts, look_up, parse_unit, signal_unit, unit_examples

BY_USER = "[channels]"
Chosen = str | Sequence[str]
_BY_RANK = ("canonical name", "SAE J1979 wording", "trade wording")
_UNITS_AT_WHEELS = frozenset(("whp", "rwhp", "fwhp", "wkw"))


@dataclass(frozen=True, slots=True)
class Match:
    """A column that stands for a canonical channel; `unit` is "" where none is written."""

    column: int
    header: str
    name: str
    unit: str
    recognised_by: str
    rank: int


@dataclass(frozen=True)
class Recognition:
    """What the columns are.

    `rivals` are columns that stand equally for a needed channel: they must hold the same values.
    """

    matches: Mapping[str, Match]
    rivals: Mapping[str, tuple[Match, ...]] = field(default_factory=dict)
    findings: tuple[Finding, ...] = field(default=())

    @property
    def time(self) -> Match | None:
        """Return the time column."""
        return self.matches.get("time")

    @property
    def columns(self) -> tuple[int, ...]:
        """Return the numbers of the columns to load, the time column left out."""
        wanted = [m for m in self.matches.values() if m.name != "time"]
        wanted += [m for rivals in self.rivals.values() for m in rivals]
        return tuple(sorted({m.column for m in wanted}))


def recognise(
    headers: Sequence[Header], channels: Mapping[str, Chosen] | None, *, where: str
) -> Recognition:
    """Tell which column is which canonical channel.

    Parameters
    ----------
    headers : sequence of Header
        In file order.
    channels : mapping or None
        Canonical name -> header, from the user; it overrides the vocabulary. Of the air flow two
        headers, to be added.
    where : str
        The file, for messages.

    Raises
    ------
    InputError
        If `channels` names what does not exist, or a needed channel has an unknown unit.
    """
    wanted = _by_user(headers, channels or {}, where)
    chosen = {name: matches[0] for name, matches in wanted.items()}
    taken = {match.column for matches in wanted.values() for match in matches}
    found: dict[str, list[Match]] = defaultdict(list)
    rivals = {name: matches[1:] for name, matches in wanted.items() if matches[1:]}
    findings: list[Finding] = []
    for column, header in enumerate(headers):
        if column in taken:
            continue
        match, misfit = _match(column, header, where)
        if match is not None and match.name not in chosen:
            found[match.name].append(match)
        elif misfit is not None:
            findings.append(misfit)
    for name, candidates in found.items():
        top = min(candidate.rank for candidate in candidates)
        equal = [c for c in candidates if c.rank == top]
        chosen[name] = equal[0]
        if len(equal) > 1 and name in BLOCKING and name != "time":
            rivals[name] = tuple(equal[1:])
        elif len(candidates) > 1:
            findings.append(_others(equal[0], candidates))
    return Recognition(chosen, rivals, tuple(findings))


@dataclass(frozen=True, slots=True)
class _Hit:
    """What a phrase stands for."""

    name: str
    rank: int
    unit_tells: bool = False


@cache
def _phrases() -> dict[frozenset[str], _Hit]:
    table: dict[frozenset[str], _Hit] = {}
    for wording in WORDINGS:
        hit = _Hit(wording.name, wording.rank, wording.unit_tells)
        table.setdefault(_content(wording.phrase), hit)
    for name in CANON:
        table[_content(name.replace("_", " "))] = _Hit(name, 0)
    return table


def _content(name: str) -> frozenset[str]:
    found = words(name)
    kept = [w for w in found if w not in FILLERS and not w.isdigit()]
    return frozenset(kept or found)


def _match(column: int, header: Header, where: str) -> tuple[Match | None, Finding | None]:
    misfit: Finding | None = None
    for reading in readings(header):
        unit = reading.unit or _unit_word(reading.name)
        corrected = _corrected(reading.name)
        if corrected in TORQUES:
            return None, _corrected_torque(header.text)
        hit = _Hit("power_corrected", TRADE) if corrected else _look_up(reading.name)
        if hit is None or (hit.unit_tells and not _unit_tells(hit.name, reading.unit)):
            continue
        fitting = _fitting(_at_wheels(hit.name, unit), unit)
        if fitting is not None:
            return Match(column, header.text, fitting, unit, _BY_RANK[hit.rank], hit.rank), None
        if reading.sure and misfit is None:
            misfit = _misfit(hit.name, header.text, reading, where)
    return None, misfit


def _look_up(name: str) -> _Hit | None:
    hit = _phrases().get(_content(name))
    if hit is not None:
        return hit
    by_bank = _phrases().get(_content(without_bank(name)))
    return by_bank if by_bank is not None and by_bank.name == ADDED else None


def _corrected(name: str) -> str | None:
    """Return the power or torque that a name calls corrected; None for any other name."""
    plain = without_correction(name)
    if plain is None:
        return None
    without_unit = " ".join(w for w in plain.split() if w not in UNIT_WORDS)
    for text in (plain, without_unit):
        hit = _look_up(text)
        if hit is not None and hit.name in (*POWERS, *TORQUES):
            return hit.name
    return None


def _unit_tells(name: str, unit_text: str) -> bool:
    """Whether a unit makes a bare word what it may be."""
    return _tells_fuel(unit_text) if name.startswith("fuel") else bool(unit_text)


def _tells_fuel(unit_text: str) -> bool:
    """Whether a unit is one of fuel flow, or of fuel per stroke: not that of a tank's level."""
    unit = look_up(unit_text)
    if unit is None:
        return False
    per_stroke = unit.expression in ("milligram", "millimeter**3") or "/" in unit_text
    return per_stroke or converts(unit, "kg/s") or converts(unit, "m3/s")


def _at_wheels(name: str, unit_text: str) -> str:
    at_wheels = name == "brake_power" and unit_text.casefold().strip() in _UNITS_AT_WHEELS
    return "wheel_power" if at_wheels else name


def _unit_word(name: str) -> str:
    return next((UNIT_WORDS[w] for w in words(name) if w in UNIT_WORDS), "")


def _fitting(name: str, unit_text: str) -> str | None:
    """Return the canonical channel that a phrase and a unit make together, if any."""
    if not unit_text:
        return name
    unit = parse_unit(unit_text)
    if name == "time":
        return name if unit is None or converts(unit, "s") else None
    if unit is None:
        return None
    for candidate in (name, *BY_UNIT.get(name, ())):
        wanted = CANON[candidate].unit
        if converts(unit, wanted) if wanted else signal_unit(unit_text) is not None:
            return candidate
    return None


def _misfit(name: str, header: str, reading: Reading, where: str) -> Finding:
    allowed = unit_examples(CANON[name].unit)
    if name in BLOCKING and look_up(reading.unit) is None and parse_unit(reading.unit) is None:
        raise InputError(
            f"unknown unit of {name}",
            where=f"{where}, column {header!r}",
            got=repr(reading.unit),
            allowed=allowed,
            fix="write the unit in one of these spellings, or name another column: "
            f'[channels] {name} = "…"',
        )
    return Finding(
        code="unit_does_not_fit",
        severity=Severity.INFO,
        message=f"{header!r} reads like {name}, but its unit {reading.unit!r} is none of it",
        fix=f'units of {name}: {allowed}; or name the right column: [channels] {name} = "…"',
        where=f"column {header!r}",
    )


def _corrected_torque(header: str) -> Finding:
    return Finding(
        code="torque_corrected",
        severity=Severity.INFO,
        message=f"{header!r} is a corrected torque; only torque as measured is used",
        fix="log power or torque without correction to standard weather",
        where=f"column {header!r}",
    )


def _others(best: Match, candidates: Sequence[Match]) -> Finding:
    others = [c for c in candidates if c is not best]
    listed = ", ".join(repr(c.header) for c in others)
    return Finding(
        code="more_than_one_header",
        severity=Severity.INFO,
        message=f"{best.name} is taken from {best.header!r}; {listed} would fit as well",
        fix=f'to take another one: [channels] {best.name} = "{others[0].header}"',
        where=f"column {best.header!r}",
    )


def ambiguous(name: str, candidates: Sequence[Match], where: str) -> InputError:
    """Return the error that shows the candidates and the line to write."""
    headers = [c.header for c in candidates]
    same = len(set(headers)) < len(headers)
    return InputError(
        f"more than one column stands for {name}",
        where=where,
        got=", ".join(f"{c.header!r} (column {c.column + 1})" for c in candidates),
        allowed="one column, or a choice in engine.toml",
        fix="give the columns different headers"
        if same
        else f'add to engine.toml: [channels] {name} = "{headers[0]}"'
        + (f", or of two banks both: {name} = {json.dumps(headers)}" if name == ADDED else ""),
    )


def _by_user(
    headers: Sequence[Header], channels: Mapping[str, Chosen], where: str
) -> dict[str, tuple[Match, ...]]:
    chosen: dict[str, tuple[Match, ...]] = {}
    for name, wanted in channels.items():
        if name not in CANON:
            near = difflib.get_close_matches(name, CANON, n=1)
            raise InputError(
                f"unknown channel {name}",
                where=f"[channels] {name}",
                got=repr(name),
                allowed=", ".join(CANON),
                fix=f"write {near[0]}" if near else "use one of the canonical names",
            )
        columns = (wanted,) if isinstance(wanted, str) else tuple(wanted)
        if not columns or (len(columns) > 1 and name != ADDED):
            raise InputError(
                f"{len(columns)} columns for {name}",
                where=f"[channels] {name}",
                got=repr(list(columns)),
                allowed=f"one header; of {ADDED} one a bank, which are added",
                fix="write one header",
            )
        chosen[name] = tuple(_user_match(headers, name, own, where) for own in columns)
    return chosen


def _user_match(headers: Sequence[Header], name: str, wanted: str, where: str) -> Match:
    """Find the header that the user wrote; the user may add a unit that the file lacks."""
    by_name = {_loose(header.text): i for i, header in reversed(list(enumerate(headers)))}
    column = by_name.get(_loose(wanted))
    unit = ""
    if column is None:
        for reading in readings(Header(wanted)):
            column = by_name.get(_loose(reading.name)) if reading.sure else None
            unit = reading.unit
            if column is not None:
                break
    if column is None:
        near = difflib.get_close_matches(wanted, [h.text for h in headers], n=3, cutoff=0.3)
        raise InputError(
            f"no column {wanted!r}",
            where=f"[channels] {name}, for {where}",
            got=repr(wanted),
            allowed=", ".join(repr(h.text) for h in headers)[:400],
            fix=f"write {near[0]!r}" if near else "write one of the headers of the file",
        )
    header = headers[column]
    unit = unit or _unit_of(header)
    if unit and _fitting(name, unit) != name:
        raise InputError(
            f"unit of {name} cannot be used",
            where=f"{where}, column {header.text!r}",
            got=repr(unit),
            allowed=unit_examples(CANON[name].unit),
            fix=f'write the unit behind the header: [channels] {name} = "{header.text} [unit]"',
        )
    return Match(column, header.text, name, unit, BY_USER, -1)


def _unit_of(header: Header) -> str:
    for reading in readings(header):
        if reading.unit and (reading.sure or look_up(reading.unit) is not None):
            return reading.unit
    return _unit_word(header.text)


def _loose(text: str) -> str:
    return " ".join(text.casefold().split())
