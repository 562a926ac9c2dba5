"""The first screen: question, answer, confidence, the caveat that matters most, what to do next.

Chooses among what a result says; works out no figure.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from airsense.report.node import Node
from airsense.report.words import percent, say

SEVERITIES = ("error", "warning")


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """What a reader sees first; `verdict` is the name in the result, empty texts are left out."""

    question: str
    subject: str
    verdict: str
    answer: str
    confidence: str
    caveat: str
    next_step: str
    words: str = ""

    @property
    def badge(self) -> str:
        """The verdict in words: its usual ones, or softer ones where less was seen."""
        return self.words or (say(self.verdict) if self.verdict else "")


def headlines(result: Node) -> tuple[Headline, ...]:
    """Return one headline a question: one a pair or claim, else one."""
    return _BUILDERS[result.result_kind](result)


def _largest_part(budget: tuple[Node, ...] | None) -> str:
    if not budget:
        return ""
    return f"The largest part of the uncertainty is {budget[0].label}."


def worst_finding(findings: tuple[Node, ...] | None, severities: tuple[str, ...]) -> str:
    """Return the message of the first finding of the worst of these severities."""
    for severity in severities:
        for finding in findings or ():
            if finding.severity == severity:
                place = f" ({finding.where})" if finding.where else ""
                return f"{_sentence(finding.message)[:-1]}{place}."
    return ""


def _sentence(text: str) -> str:
    text = text.strip()
    return (text[:1].upper() + text[1:]).rstrip(".") + "." if text else ""


def _measure(step: Node | None) -> str:
    if step is None:
        return ""
    return _sentence(f"{step.measurement}: {step.reason}")


def _rescale(result: Node) -> tuple[Headline, ...]:
    scale = result.scale
    return (
        Headline(
            question="What should the transfer table be now?",
            subject="",
            verdict=result.decision,
            answer=result.sentence or "",
            confidence=f"Mean correction of the flow over the measured range: "
            f"{percent(scale.value - 1.0)}, 95 % interval {percent(scale.low - 1.0)} to "
            f"{percent(scale.high - 1.0)}.",
            caveat=worst_finding(result.findings, SEVERITIES),
            next_step=next(
                (_sentence(f.fix) for f in result.findings or () if f.severity in SEVERITIES), ""
            ),
        ),
    )


def _audit(result: Node) -> tuple[Headline, ...]:
    asks = result.ask_the_publisher_for
    return tuple(
        Headline(
            question="Does the claim hold?",
            subject=claim_of(verdict),
            verdict=verdict.verdict,
            answer=verdict.sentence,
            confidence="",
            caveat="",
            next_step=_sentence(f"Ask for {asks[0].request}: {asks[0].reason}") if asks else "",
        )
        for verdict in result.verdicts
    )


def claim_of(verdict: Node) -> str:
    """Return a claim in words: from, to, tune and what is claimed."""
    tune = f", {verdict.tune}" if verdict.tune else ""
    return f"{verdict['from']} to {verdict.to}{tune}: {verdict.claim}"


def _plan(result: Node) -> tuple[Headline, ...]:
    steps = result.next_measurement or ()
    return (
        Headline(
            question="How should the test be run?",
            subject="",
            verdict="",
            answer=result.sentence
            or f"{result.runs_per_configuration} runs of each configuration resolve a change of "
            f"{percent(result.detectable_change, sign=False)}.",
            confidence="",
            caveat=_largest_part(result.budget),
            next_step=_measure(steps[0]) if steps else "",
        ),
    )


def _tube(result: Node) -> tuple[Headline, ...]:
    return (
        Headline(
            question="What does the change of bore alone do to the reading?",
            subject="",
            verdict="",
            answer=result.sentence,
            confidence="",
            caveat=worst_finding(result.findings, SEVERITIES)
            or "Geometry alone: bends, filters and steps ahead of the sensor add to it.",
            next_step="Run before and after with independent routes logged, and compare.",
        ),
    )


def _screen(result: Node) -> tuple[Headline, ...]:
    without = sum(c.logs for c in result.counts if c.outcome in ("refused", "failed"))
    drifting = [v.sentence for v in result.vehicles if v.drift == "drifts"]
    return (
        Headline(
            question="Which logs of the folder need a look?",
            subject="",
            verdict="",
            answer=" ".join((result.sentence, *drifting[:1])),
            confidence="",
            caveat=worst_finding(result.findings, SEVERITIES)
            or (
                "Logs without an answer are no good logs: see what is wrong with them."
                if without
                else "One log alone is seldom proof: look at the next one too."
            ),
            next_step="Look at the first log of the list, by airsense check.",
        ),
    )


_BUILDERS: dict[str, Callable[[Any], tuple[Headline, ...]]] = {
    "audit": _audit,
    "plan": _plan,
    "rescale": _rescale,
    "screen": _screen,
    "tube": _tube,
}
