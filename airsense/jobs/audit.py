"""Audit a published comparison: claims.toml -> which claims its own figures support."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import airsense
from airsense.claims.absolute import check_point
from airsense.claims.arithmetic import check_claim_arithmetic, check_row_arithmetic
from airsense.claims.asks import Ask, missing_finding, missing_of, rank_asks
from airsense.claims.causes import check_causes
from airsense.claims.change import Pair, check_pair
from airsense.claims.context import Context
from airsense.claims.correction import CorrectionRow, check_correction, corrections_of
from airsense.claims.findings import AuditFinding, Outcome
from airsense.claims.pairs import configurations_of, pair_of, pairs_of, same_pair
from airsense.claims.point import Point
from airsense.claims.repeat import check_repeatability, power_run_u
from airsense.claims.split import AirSplit, air_splits
from airsense.claims.table import implied_claims, with_table
from airsense.claims.verdict import POWERS, ClaimVerdict, check_weather, decide_claim, weigh
from airsense.errors import InputError
from airsense.estimates.combustion import fuel_of
from airsense.estimates.defaults import defaults_for
from airsense.jobs.provenance import file_input
from airsense.results import CAUTIONS, Assumption, InputFile, Presented
from airsense.setup.claims import Claim, Claims
from airsense.setup.engine import EngineSetup
from airsense.setup.load import load_engine, load_model

SCHEMA = "airsense.audit/2"
CAUTION = (
    "An audit compares printed figures; it has not seen the engine and certifies nothing. "
    "Contradicted means that figures exclude each other, not that anyone meant to mislead."
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
    splits: tuple[AirSplit, ...] = ()
    assumptions: tuple[Assumption, ...]
    cautions: tuple[str, ...] = (CAUTION, *CAUTIONS)
    inputs: tuple[InputFile, ...] = ()

    def says(self, words: Collection[str]) -> bool:
        """Whether a verdict, or where nothing is claimed an outcome, is among `words`."""
        said = {v.verdict.value for v in self.verdicts}
        return bool((said or {f.outcome.value for f in self.findings}) & set(words))


def run(path: str | Path, engine: str | Path | None = None) -> AuditResult:
    """Audit a claims file, or with `engine` a table of results.

    Raises
    ------
    InputError
        If a file cannot be used, or claims something of figures that it does not print.
    """
    if engine is None:
        claims, inputs = load_model(path, Claims), [file_input(path, "claims")]
    else:
        claims, inputs = _of_table(Path(path), engine), [file_input(engine, "engine")]
    table = claims.table
    result = audit(claims, source=str(path), folder=Path(path).parent)
    if table is not None and "\n" not in table:
        inputs.append(file_input(Path(path).parent / table, "results"))
    return replace(result, inputs=tuple(inputs))


def _of_table(path: Path, engine: str | Path) -> Claims:
    setup = load_engine(engine)
    return Claims(
        engine=setup.engine, fuel=setup.fuel, uncertainty=setup.uncertainty, table=path.name
    )


def audit(claims: Claims, *, source: str, folder: Path = Path()) -> AuditResult:
    """Audit claims that have been read.

    A table of results is looked for in `folder`; where nothing is claimed, each intake is held
    against the first one.

    Raises
    ------
    InputError
        As `run`; `source` is named in the message.
    """
    bare = claims.table is not None and not claims.claim
    claims, unused = with_table(claims, folder, source)
    if bare:
        claims = claims.model_copy(update={"claim": implied_claims(claims.result)})
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
    corrected = tuple(check_correction(points, rows))
    missing = missing_of(points)
    findings = (*work.findings(), *corrected, missing_finding(missing))
    return AuditResult(
        source=source,
        verdicts=tuple(work.verdicts(corrected)),
        findings=tuple(sorted(findings, key=lambda f: _ORDER[f.outcome])),
        ask_the_publisher_for=rank_asks(findings, missing),
        corrections=rows,
        splits=air_splits([pair for pair, _ in work.about_pair]),
        assumptions=(*assumed, *unused, *context.assumptions.values(), *sizes.assumptions()),
    )


_ORDER = {Outcome.CONTRADICTED: 0, Outcome.UNDETERMINED: 1, Outcome.SUPPORTED: 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Work:
    """Points, pairs and claims with the findings on each, made once."""

    about_point: dict[str, tuple[AuditFinding, ...]]
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

    def verdicts(self, corrected: Sequence[AuditFinding]) -> Iterator[ClaimVerdict]:
        """Yield a verdict per claim from all that was found on its rows, pair and numbers."""
        for claim, pair, own in self.about_claim:
            between = next(found for p, found in self.about_pair if same_pair(p, pair))
            names = [p.configuration.name for p in (pair.before, pair.after)]
            ends = [f for name in names for f in self.about_point[name]]
            if claim.quantity in POWERS:
                ends += [f for f in corrected if f.subject in names]
            yield decide_claim(weigh(claim, pair), (*ends, *between, *own))


def _work(claims: Claims, points: Sequence[Point], *, shown: bool, source: str) -> _Work:
    claimed = [(claim, pair_of(claim, points, source)) for claim in claims.claim]
    wanted = [pair for _, pair in claimed]
    pairs = pairs_of(points, wanted)
    return _Work(
        about_point={
            p.configuration.name: (*check_point(p), *check_row_arithmetic(p)) for p in points
        },
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
    weather = check_weather(weigh(claim, pair))
    if weather is not None:
        yield weather


def _refuse_table(claims: Claims, source: str) -> None:
    if not isinstance(claims.engine.volumetric_efficiency, float | None):
        raise InputError(
            "an audit cannot use a table of volumetric efficiency",
            where=f"{source}, [engine] volumetric_efficiency",
            got="a table",
            allowed="a fraction such as 0.92, or no such key",
            fix="give the value at the printed speed, or leave the key out",
        )
