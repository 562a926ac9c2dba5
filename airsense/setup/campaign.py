"""campaign.toml as frozen models: runs of several intakes and tunes, and their order."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from pathlib import Path
from typing import Annotated

from pydantic import Field

from airsense.errors import InputError
from airsense.setup.declared import Declared
from airsense.setup.load import load_model
from airsense.setup.measured import Measured, check_configurations
from airsense.setup.weather import DeclaredWeather, RunWeather


class CampaignRun(RunWeather):
    """One log: which intake and tune it shows, its place in the order, and its weather.

    Runs of one `session` share a day and a place: between them the weather drifts little.
    """

    log: str
    intake: str
    tune: str = ""
    order: Annotated[int, Field(ge=0, le=100_000)] | None = None
    session: str = ""


class CampaignIntake(Declared):
    """What is known of an intake beside its runs."""

    name: str
    bore_mm: Annotated[float, Field(ge=10.0, le=400.0)] | None = None
    price: Annotated[float, Field(ge=0.0)] | None = None
    depression_kpa: Annotated[float, Field(ge=0.0, le=30.0)] | None = None


class Campaign(Declared):
    """All of campaign.toml; paths are relative to the file."""

    engine: str
    baseline: str
    run: Annotated[tuple[CampaignRun, ...], Field(min_length=2)]
    intake: tuple[CampaignIntake, ...] = ()
    weather: DeclaredWeather = Field(default_factory=DeclaredWeather)
    measured: tuple[Measured, ...] = ()

    def tunes(self) -> tuple[str, ...]:
        """Return the tunes in file order."""
        return tuple(dict.fromkeys(r.tune for r in self.run))

    def declared(self, intake: str) -> CampaignIntake:
        """Return what is declared of an intake, empty if nothing is."""
        found = (i for i in self.intake if i.name == intake)
        return next(found, CampaignIntake(name=intake))


def load_campaign(path: str | Path) -> Campaign:
    """Read campaign.toml.

    Raises
    ------
    InputError
        If the file cannot be used, or its parts do not fit each other.
    """
    campaign = load_model(path, Campaign)
    for check in _CHECKS:
        check(campaign, str(path))
    return campaign


def _twice(values: Sequence[Hashable]) -> tuple[int, int] | None:
    """Return the places (from 1) of the first value that stands twice."""
    seen: dict[Hashable, int] = {}
    for place, value in enumerate(values, start=1):
        if value in seen:
            return seen[value], place
        seen[value] = place
    return None


def _check_order(campaign: Campaign, path: str) -> None:
    given = [r.order for r in campaign.run if r.order is not None]
    if given and len(given) < len(campaign.run):
        missing = next(k for k, r in enumerate(campaign.run, start=1) if r.order is None)
        raise InputError(
            "the order of some runs is missing",
            where=f"{path}, [[run]] number {missing}",
            got=f"no order, while {len(given)} of {len(campaign.run)} runs have one",
            allowed="order for every run, or for none",
            fix="number all runs in the order in which they were made",
        )
    twice = _twice([r.order for r in campaign.run]) if given else None
    if twice is not None:
        raise InputError(
            "two runs have the same order",
            where=f"{path}, [[run]] number {twice[1]} order",
            got=f"{campaign.run[twice[1] - 1].order}, as in [[run]] number {twice[0]}",
            allowed="a number of its own for each run",
            fix="number the runs in the order in which they were made",
        )


def _check_logs(campaign: Campaign, path: str) -> None:
    twice = _twice([Path(r.log) for r in campaign.run])
    if twice is not None:
        raise InputError(
            "one log stands for two runs",
            where=f"{path}, [[run]] number {twice[1]} log",
            got=f"{campaign.run[twice[1] - 1].log!r}, as in [[run]] number {twice[0]}",
            allowed="a log of its own for each run",
            fix="name the right log, or take the second [[run]] out; a repeat must be a new run",
        )
    for number, run in enumerate(campaign.run, start=1):
        if not (Path(path).parent / run.log).is_file():
            raise InputError(
                "a log of the campaign is missing",
                where=f"{path}, [[run]] number {number} log",
                got=f"{run.log!r}, no such file",
                allowed="the path of a log file, relative to the campaign file",
                fix="mend the path, or take the [[run]] out",
            )


def _check_intakes(campaign: Campaign, path: str) -> None:
    names = [i.name for i in campaign.intake]
    twice = _twice(names)
    if twice is not None:
        raise InputError(
            "an intake is declared twice",
            where=f"{path}, [[intake]] number {twice[1]} name",
            got=repr(names[twice[1] - 1]),
            allowed="one [[intake]] for each name",
            fix="join the two, or rename one",
        )
    used = dict.fromkeys(r.intake for r in campaign.run)
    for number, run in enumerate(campaign.run, start=1):
        if names and run.intake not in names:
            raise _unknown(f"{path}, [[run]] number {number} intake", run.intake, names)
    for number, name in enumerate(names, start=1):
        if name not in used:
            raise _unknown(f"{path}, [[intake]] number {number} name", name, list(used))


def _unknown(where: str, name: str, known: Sequence[str]) -> InputError:
    return InputError(
        "unknown intake",
        where=where,
        got=repr(name),
        allowed=", ".join(repr(k) for k in known),
        fix="spell the intake alike in [[run]] and [[intake]], or add what is missing",
    )


def _check_baseline(campaign: Campaign, path: str) -> None:
    if campaign.baseline not in {r.intake for r in campaign.run}:
        known = list(dict.fromkeys(r.intake for r in campaign.run))
        raise _unknown(f"{path}, baseline", campaign.baseline, known)
    for tune in campaign.tunes():
        here = {r.intake for r in campaign.run if r.tune == tune}
        if campaign.baseline not in here:
            raise InputError(
                "the baseline has no run at a tune",
                where=f"{path}, tune {tune!r}",
                got="runs of " + ", ".join(repr(i) for i in sorted(here)),
                allowed=f"at least one run of the baseline {campaign.baseline!r} at every tune",
                fix="add the baseline's log at this tune, or take the tune's runs out",
            )
    if {r.intake for r in campaign.run} == {campaign.baseline}:
        raise InputError(
            "the campaign has one intake only",
            where=f"{path}, [[run]] intake",
            got=repr(campaign.baseline),
            allowed="runs of the baseline and of at least one other intake",
            fix="add the other intake's runs; `airsense check` judges one intake alone",
        )


def _check_measured(campaign: Campaign, path: str) -> None:
    known = list(dict.fromkeys(r.intake for r in campaign.run))
    check_configurations(campaign.measured, known, where=path)


_CHECKS: tuple[Callable[[Campaign, str], None], ...] = (
    _check_intakes,
    _check_baseline,
    _check_order,
    _check_measured,
    _check_logs,
)
