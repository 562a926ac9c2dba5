"""What the browser shows: templates, and the little that has to be laid out for them."""

from __future__ import annotations

import html
import re
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from airsense.errors import InputError
from airsense.logs.canon import CANON
from airsense.results import CAUTIONS, Finding
from airsense.serve import forms
from airsense.serve.child import SeenLog
from airsense.serve.guard import POLICY
from airsense.serve.kinds import KINDS
from airsense.serve.room import Piece, Stands

if TYPE_CHECKING:
    from jinja2 import Environment

_OWN_POLICY = re.compile(r'http-equiv="Content-Security-Policy" content="([^"]*)"')


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnRow:
    """A channel: the columns that were taken for it, and in how many logs it is missing."""

    name: str
    title: str
    taken: tuple[str, ...]
    missing: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """A finding, told once with all logs that it is about."""

    finding: Finding
    logs: tuple[str, ...]


def render(name: str, **values: Any) -> str:
    """Return a page from its template."""
    return _environment().get_template(f"{name}.html.j2").render(**values)


def style() -> str:
    """Return the style sheet: that of the report, and what forms need beside it."""
    report = resources.files("airsense.report") / "templates" / "page.css"
    own = resources.files("airsense.serve") / "templates" / "serve.css"
    return report.read_text(encoding="utf-8") + own.read_text(encoding="utf-8")


def columns_page(piece: Piece) -> str:
    """Return the page of what was recognised in the logs, with a way to correct it."""
    rows = column_rows(piece.seen)
    return render(
        "columns",
        piece=piece,
        found=[row for row in rows if row.taken],
        others=[row for row in rows if not row.taken],
        headers=sorted({h for log in piece.seen for h in log.headers}, key=str.casefold),
        said=said(piece.seen),
        unread=[log for log in piece.seen if log.error is not None],
    )


def column_rows(seen: tuple[SeenLog, ...]) -> list[ColumnRow]:
    """Return one row a canonical channel, in the order of the vocabulary."""
    read = [log.result for log in seen if log.result is not None]
    rows = []
    for name in CANON:
        taken = [row.header for result in read for row in result.channels if row.name == name]
        rows.append(
            ColumnRow(
                name=name,
                title=name.replace("_", " "),
                taken=tuple(dict.fromkeys(taken)),
                missing=len(read) - len(taken),
            )
        )
    # The time base is no channel of a log that was read; it can be named all the same.
    return rows


def said(seen: tuple[SeenLog, ...]) -> list[Said]:
    """Return the findings on the logs, each once."""
    about: dict[Finding, list[str]] = {}
    for log in seen:
        for found in log.result.findings if log.result is not None else ():
            # What differs by the name of the log alone is one finding.
            key = Finding(
                code=found.code, severity=found.severity, message=found.message, fix=found.fix
            )
            about.setdefault(key, []).append(log.log)
    return [Said(finding=key, logs=tuple(dict.fromkeys(logs))) for key, logs in about.items()]


def with_bar(page: str, piece: Piece) -> tuple[str, str]:
    """Return the page of a report with a bar of links above it, and the policy of that page."""
    bar = render("bar", piece=piece)
    found = _OWN_POLICY.search(page)
    own = html.unescape(found[1]) if found else POLICY
    return page.replace("<body>\n", f"<body>\n{bar}", 1), f"{own}; frame-ancestors 'none'"


def problem_page(error: InputError, piece: Piece | None = None) -> str:
    """Return an error in its five parts, laid out."""
    return render("problem", error=error, piece=piece)


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("airsense.serve"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(cautions=CAUTIONS, kinds=KINDS, forms=forms, Stands=Stands)
    return environment
