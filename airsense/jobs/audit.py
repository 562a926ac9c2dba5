"""Audit a published comparison: claims.toml -> which claims its own figures support."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import airsense
from airsense.errors import InputError
from airsense.estimates.combustion import fuel_of
from airsense.estimates.defaults import defaults_for
from airsense.evidence.claims_absolute import check_point
from airsense.evidence.claims_arithmetic import check_claim_arithmetic, check_row_arithmetic
from airsense.evidence.claims_asks import Ask, missing_finding, missing_of, rank_asks
from airsense.evidence.claims_causes import check_causes
from airsense.evidence.claims_change import Pair, check_pair
from airsense.evidence.claims_context import Context
from airsense.evidence.claims_correction import CorrectionRow, check_correction, corrections_of
from airsense.evidence.claims_findings import AuditFinding, Outcome
from airsense.evidence.claims_pairs import configurations_of, pair_of, pairs_of, same_pair
from airsense.evidence.claims_point import Point
from airsense.evidence.claims_repeat import check_repeatability, power_run_u
from airsense.evidence.claims_verdict import ClaimVerdict, decide_claim
from airsense.jobs.provenance import file_input
from airsense.results import CAUTIONS, Assumption, InputFile, Presented
from airsense.setup.claims import Claim, Claims
from airsense.setup.engine import EngineSetup
from airsense.setup.load import load_model

SCHEMA = "airsense.audit/1"
CAUTION = (
    "An audit compares printed figures with each other; it proves nothing about an engine that "
    "it has not seen. `contradicted` means that figures exclude each other, not that anyone "
    "meant to mislead."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditResult(Presented):
    """What the printed figures of a comparison support."""

    schema: str = SCHEMA
    version: str = airsense.__version__
    source: str
    verdicts: tuple[ClaimVerdict, ...]
    findings: tuple[AuditFinding, ...]
    ask_the_publisher_for: tuple[Ask, ...]
    corrections: tuple[CorrectionRow, ...]
    assumptions: tuple[Assumption, ...]
    cautions: tuple[str, ...] = (CAUTION, *CAUTIONS)
    inputs: tuple[InputFile, ...] = ()

    def says(self, words: Collection[str]) -> bool:
        """Whether a verdict or an outcome is among `words`."""
        said = {v.verdict.value for v in self.verdicts} | {f.outcome.value for f in self.findings}
        return bool(said & set(words))


def run(path: str | Path) -> AuditResult:
    """Audit a claims file.

    Raises
    ------
    InputError
        If the file cannot be used, or claims something of figures that it does not print.
    """
    result = audit(load_model(path, Claims), source=str(path))
    return replace(result, inputs=(file_input(path, "claims"),))


def audit(claims: Claims, *, source: str) -> AuditResult:
    """Audit claims that have been read.

    Raises
    ------
    InputError
        As `run`; `source` is named in the message.
    """
    _refuse_table(claims, source)
    configurations = configurations_of(claims.result)
    setup = EngineSetup(engine=claims.engine, fuel=claims.fuel, uncertainty=claims.uncertainty)
    fuel, assumed = fuel_of(setup)
    sizes = defaults_for(claims.uncertainty, charge_temperature_estimated=False)
    scatter, shown = power_run_u(claims, sizes.brake_power, configurations)
    context = Context(claims=claims, fuel=fuel, sizes=sizes, power_run_u=scatter)
    points = tuple(Point(c, context) for c in configurations)
    work = _work(claims, points, shown=shown, source=source)
    rows = corrections_of(points)
    missing = missing_of(points)
    findings = (
        *work.findings(),
        *check_correction(claims.publication, points, rows),
        missing_finding(missing),
    )
    return AuditResult(
        source=source,
        verdicts=tuple(work.verdicts()),
        findings=tuple(sorted(findings, key=lambda f: _ORDER[f.outcome])),
        ask_the_publisher_for=rank_asks(findings, missing),
        corrections=rows,
        assumptions=(*assumed, *context.assumptions.values(), *sizes.assumptions()),
    )


_ORDER = {Outcome.CONTRADICTED: 0, Outcome.UNDETERMINED: 1, Outcome.SUPPORTED: 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Work:
    """Points, pairs and claims with the findings on each, made once."""

    about_point: dict[int, tuple[AuditFinding, ...]]
    about_pair: tuple[tuple[Pair, tuple[AuditFinding, ...]], ...]
    about_claim: tuple[tuple[Claim, Pair, tuple[AuditFinding, ...]], ...]

    def findings(self) -> Iterator[AuditFinding]:
        """Yield every finding once."""
        for found in self.about_point.values():
            yield from found
        for _, _, found in self.about_claim:
            yield from found
        for _, found in self.about_pair:
            yield from found

    def verdicts(self) -> Iterator[ClaimVerdict]:
        """Yield a verdict per claim from all that was found on its rows, pair and numbers."""
        for claim, pair, own in self.about_claim:
            between = next(found for p, found in self.about_pair if same_pair(p, pair))
            ends = self.about_point[id(pair.before)] + self.about_point[id(pair.after)]
            yield decide_claim(claim, pair, (*ends, *between, *own))


def _work(claims: Claims, points: Sequence[Point], *, shown: bool, source: str) -> _Work:
    claimed = [(claim, pair_of(claim, points, source)) for claim in claims.claim]
    wanted = [pair for _, pair in claimed]
    pairs = pairs_of(points, wanted)
    return _Work(
        about_point={id(p): (*check_point(p), *check_row_arithmetic(p)) for p in points},
        about_pair=tuple((p, tuple(_about_pair(p, wanted, shown=shown))) for p in pairs),
        about_claim=tuple((c, p, tuple(_about_claim(c, p, shown=shown))) for c, p in claimed),
    )


def _about_pair(pair: Pair, claimed: Sequence[Pair], *, shown: bool) -> Iterator[AuditFinding]:
    yield from check_pair(pair)
    yield from check_causes(pair)
    if not any(same_pair(pair, other) for other in claimed):
        repeat = check_repeatability(pair, None, shown=shown)
        if repeat is not None:
            yield repeat


def _about_claim(claim: Claim, pair: Pair, *, shown: bool) -> Iterator[AuditFinding]:
    yield from check_claim_arithmetic(claim, pair)
    repeat = check_repeatability(pair, claim, shown=shown)
    if repeat is not None:
        yield repeat


def _refuse_table(claims: Claims, source: str) -> None:
    if isinstance(claims.engine.volumetric_efficiency, str):
        raise InputError(
            "an audit cannot use a table of volumetric efficiency",
            where=f"{source}, [engine] volumetric_efficiency",
            got=claims.engine.volumetric_efficiency,
            allowed="a fraction such as 0.92, or no such key",
            fix="give the value at the printed speed, or leave the key out",
        )
