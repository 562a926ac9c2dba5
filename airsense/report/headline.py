"""The first screen: question, answer, confidence, the caveat that matters most, what to do next.

Chooses among what a result says; works out no figure.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from airsense.report.node import Node, kind_of
from airsense.report.words import cause, percent, percent_range, probability, say

# Routes that differ by more than chance allows at this level: named ahead of any other caveat.
DISAGREEMENT_LEVEL = 0.05
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


# An audit has seen printed figures, not the engine.
AUDIT_WORDS = {
    "gain_supported": "the printed figures support it",
    "partly_supported": "the printed figures support a part of it",
}


def headlines(result: Node) -> tuple[Headline, ...]:
    """Return one headline a question: one a pair or claim, else one."""
    return _BUILDERS.get(kind_of(result), _other)(result)


def _compare(result: Node) -> tuple[Headline, ...]:
    return tuple(
        Headline(
            question="Is the gain real?",
            subject=f"{configuration(pair)} against {pair.baseline}",
            verdict=pair.verdict,
            answer=pair.sentence,
            confidence="Probability that the engine breathes more air: "
            f"{probability(pair.probability_of_gain)}; that the sensor reads higher: "
            f"{probability(pair.probability_of_over_reading)}.",
            caveat=_caveat_of_pair(pair, result),
            next_step=_measure(pair.next_measurement),
        )
        for pair in result.pairs or ()
    )


def configuration(pair: Node) -> str:
    """Return the name of the changed configuration of a pair."""
    return f"{pair.intake}, {pair.tune}" if pair.tune else str(pair.intake)


def _caveat_of_pair(pair: Node, result: Node) -> str:
    worst = worst_finding(result.findings, ("error",))
    if worst:
        return worst
    agree = pair.chi_square_probability
    if agree is not None and agree < DISAGREEMENT_LEVEL:
        return (
            "The routes to the true air flow disagree by more than chance explains (probability "
            f"{probability(agree)}): one of them is off, and the interval allows for it."
        )
    for run in pair.prior_sensitivity or ():
        if run.verdict != pair.verdict:
            return (
                f"With prior sizes {run.factor:g} times as large the verdict would be "
                f"“{say(run.verdict)}”: it hangs on the priors."
            )
    return (
        _alone(pair.estimates)
        or _alike(pair.causes)
        or worst_finding(result.findings, ("warning",))
        or _largest_part(pair.budget)
    )


def _alone(estimates: tuple[Node, ...] | None) -> str:
    used = [e.method for e in estimates or () if e.used and e.method != "mass_air_flow"]
    if len(used) != 1:
        return ""
    return f"Only one route to the true air flow was usable ({say(used[0])}): nothing checks it."


def _alike(causes: tuple[Node, ...] | None) -> str:
    if not causes or not causes[0].not_separable_from or causes[0].cause == "none":
        return ""
    others = ", ".join(cause(name) for name in causes[0].not_separable_from)
    return f"These data cannot tell “{cause(causes[0].cause)}” from: {others}."


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


def _check(result: Node) -> tuple[Headline, ...]:
    error = result.sensor_error
    return (
        Headline(
            question="Is the air-flow reading credible?",
            subject="",
            verdict=result.verdict,
            answer=result.sentence or "",
            confidence="With 95 % probability the sensor reads "
            f"{percent_range(error)} against the true air flow.",
            caveat=worst_finding(result.findings, SEVERITIES)
            or _alone(result.estimates)
            or _alike(result.causes)
            or _largest_part(result.budget),
            next_step=_measure(result.next_measurement),
        ),
    )


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
    asks = result.ask_the_publisher_for or ()
    ask = _sentence(f"Ask for {asks[0].request}: {asks[0].reason}") if asks else ""
    against = [f for f in result.findings or () if f.outcome == "contradicted"]
    general = "An audit compares printed figures with each other; it has not seen the engine."
    claims = tuple(
        Headline(
            question="Does the claim hold?",
            subject=claim_of(verdict),
            verdict=verdict.verdict,
            answer=verdict.sentence,
            confidence=""
            if verdict.change is None
            else f"The printed figures leave {percent_range(verdict.change)} open (95 %).",
            caveat=verdict.against[0] if verdict.against else general,
            next_step=ask,
            words=AUDIT_WORDS.get(verdict.verdict, ""),
        )
        for verdict in result.verdicts or ()
    )
    return claims or (
        Headline(
            question="Do the printed figures agree with each other?",
            subject="",
            verdict="contradicted" if against else "undetermined",
            answer=f"{len(against)} of {len(result.findings or ())} checks contradict each other.",
            confidence="",
            caveat=against[0].sentence if against else general,
            next_step=ask,
        ),
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
            caveat=worst_finding(result.findings, SEVERITIES) or _largest_part(result.budget),
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


def _other(result: Node) -> tuple[Headline, ...]:
    return (
        Headline(
            question=_TITLES.get(kind_of(result), f"airsense {kind_of(result)}"),
            subject="",
            verdict=result.verdict or "",
            answer=result.sentence or "",
            confidence="",
            caveat=worst_finding(result.findings, SEVERITIES),
            next_step="",
        ),
    )


_TITLES = {
    "channels": "What was recognised in the log?",
}


def _demo(result: Node) -> tuple[Headline, ...]:
    return _compare(result.compare)


_BUILDERS: dict[str, Callable[[Any], tuple[Headline, ...]]] = {
    "compare": _compare,
    "check": _check,
    "rescale": _rescale,
    "audit": _audit,
    "plan": _plan,
    "tube": _tube,
    "screen": _screen,
    "demo": _demo,
}
