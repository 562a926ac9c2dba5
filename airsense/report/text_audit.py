"""The audit as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

from airsense.evidence.claims_findings import Outcome

if TYPE_CHECKING:
    from rich.console import Console

    from airsense.evidence.claims_correction import CorrectionRow
    from airsense.evidence.claims_findings import AuditFinding
    from airsense.jobs.audit import AuditResult

_HEADINGS = {
    Outcome.CONTRADICTED: "Contradicted by the printed figures",
    Outcome.UNDETERMINED: "Open",
    Outcome.SUPPORTED: "Supported",
}
MOST_ASKS = 6


def render(result: AuditResult, console: Console, units: str | None) -> None:
    """Print verdicts, findings by outcome, what to ask for, and what was assumed.

    Figures stand in the units of the publication or in per cent, so `units` changes nothing.
    """
    for verdict in result.verdicts:
        tune = f", {verdict.tune}" if verdict.tune else ""
        head = f"{verdict.from_} -> {verdict.to}{tune}: {verdict.claim}"
        console.print(f"[bold]{verdict.verdict.value}[/bold]  {escape(head)}", soft_wrap=True)
        console.print(f"  {escape(verdict.sentence)}", soft_wrap=True)
    for outcome, heading in _HEADINGS.items():
        found = [f for f in result.findings if f.outcome is outcome]
        if found:
            console.print(f"\n[bold]{heading}[/bold]")
        for finding in found:
            _print_finding(finding, console)
    if result.corrections:
        console.print(_correction_table(result.corrections))
    if result.ask_the_publisher_for:
        console.print("\n[bold]Ask the publisher for[/bold], most telling first")
    for number, ask in enumerate(result.ask_the_publisher_for[:MOST_ASKS], start=1):
        console.print(f"  {number}. {escape(ask.request)}: {escape(ask.reason)}", soft_wrap=True)
    _print_foot(result, console)


def _print_finding(finding: AuditFinding, console: Console) -> None:
    console.print(
        f"  {finding.check.value}  [dim]{escape(finding.subject)}[/dim]", soft_wrap=True
    )
    console.print(f"    {escape(finding.sentence)}", soft_wrap=True)
    if finding.settle_by and finding.outcome is not Outcome.SUPPORTED:
        console.print(f"    To settle it: {escape(finding.settle_by)}.", soft_wrap=True)


def _correction_table(rows: tuple[CorrectionRow, ...]) -> Table:
    table = Table(title="Power correction by each text", box=None, pad_edge=False)
    for title in ("configuration", "text", "factor", "fa", "fm", "allowed here"):
        table.add_column(title, overflow="fold")
    for row in rows:
        table.add_row(
            escape(row.configuration),
            row.text.value,
            f"{row.factor:.4f}",
            "" if row.fa != row.fa else f"{row.fa:.4f}",
            "" if row.fm != row.fm else f"{row.fm:.3f}",
            "yes" if row.in_range else "no",
        )
    return table


def _print_foot(result: AuditResult, console: Console) -> None:
    console.print("\n[bold]Assumed[/bold]")
    for item in result.assumptions:
        console.print(
            f"  {escape(item.quantity)}: {escape(item.value)} ({escape(item.source)})",
            soft_wrap=True,
        )
    console.print("")
    for caution in result.cautions:
        console.print(f"caution: {escape(caution)}", soft_wrap=True)
