"""A result as one page: opens offline, needs no script, holds its own data.

The page is made from the plain JSON of a result, so that the same result gives the same page
whenever it is made. Whatever comes from a log or a setup is escaped; a content security policy
allows nothing but the page's own style sheet.
"""

from __future__ import annotations

import base64
import hashlib
import importlib
import json
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Protocol, cast

from airsense.errors import InputError
from airsense.report.as_json import to_plain
from airsense.report.equations import Equation, equations_for
from airsense.report.figures import pictures_of
from airsense.report.headline import Headline, headlines
from airsense.report.node import Node, kind_of
from airsense.report.page_parts import (
    KeyFigure,
    Table,
    assumptions_table,
    findings_table,
    inputs_table,
    quantity,
)
from airsense.report.svg import inline_svg
from airsense.report.units_shown import Shown, shown_for
from airsense.report.words import tone

if TYPE_CHECKING:
    from jinja2 import Template
    from markupsafe import Markup

KINDS = ("audit", "channels", "check", "compare", "demo", "plan", "rescale", "screen", "tube")


class PageKind(Protocol):
    """What each module `page_<kind>` offers."""

    def keys(self, result: Node) -> tuple[tuple[KeyFigure, ...], ...]:
        """Return the key figures of each headline."""

    def evidence(self, result: Node, shown: Shown) -> tuple[Table, ...]:
        """Return the tables of the evidence."""

    def method(self, result: Node) -> tuple[Table, ...]:
        """Return the tables of the method."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Answer:
    headline: Headline
    verdict: str
    tone: str
    keys: tuple[KeyFigure, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Drawing:
    name: str
    title: str
    caption: str
    svg: Markup


@dataclass(frozen=True, slots=True, kw_only=True)
class _Page:
    """Everything that the template shows."""

    kind: str
    version: str
    policy: str
    style: Markup
    title: str
    question: str
    about: str
    answers: tuple[_Answer, ...]
    pictures: tuple[_Drawing, ...]
    evidence: tuple[Table, ...]
    method: tuple[Table, ...]
    equations: tuple[Equation, ...]
    inputs: tuple[Table, ...]
    cautions: tuple[str, ...]
    made_by: str
    file_name: str
    data_link: str
    data: Markup


def render_page(result: Any, *, units: str | None = None) -> str:
    """Return the page of a result.

    Parameters
    ----------
    result : dataclass or dict
        A result, or its plain JSON object.
    units : str, optional
        "si" or "us"; without it, the units in which the logs were written.

    Raises
    ------
    InputError
        If results of this kind have no page.
    """
    plain = to_plain(result)
    node = Node(plain)
    kind = kind_of(node)
    if kind not in KINDS:
        raise InputError(
            "there is no page for this kind of result",
            where="schema",
            got=str(node.schema)[:80],
            allowed=", ".join(f"airsense.{name}/1" for name in KINDS),
            fix="use --json for the result itself",
        )
    return _template().render(page=_page(plain, node, kind, shown_for(node, units)))


def _page(plain: dict[str, Any], node: Node, kind: str, shown: Shown) -> _Page:
    from markupsafe import Markup

    module = cast(PageKind, importlib.import_module(f"airsense.report.page_{kind}"))
    first = headlines(node)
    # The demo rests on the comparison inside it.
    basis = node.compare if kind == "demo" else node
    style = _style()
    text = json.dumps(plain, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    encoded = base64.b64encode(text.encode("utf-8")).decode("ascii")
    return _Page(
        kind=kind,
        version=node.version or "",
        policy=_policy(style),
        style=Markup(style),
        title=f"airsense {kind}: {basis.engine or first[0].subject or first[0].question}",
        question=first[0].question,
        about=_about(basis, shown),
        answers=_answers(first, module.keys(node)),
        pictures=_drawings(plain, shown),
        evidence=_filled(*module.evidence(node, shown), findings_of(basis)),
        method=_filled(*module.method(node), assumptions_table(basis.assumptions)),
        equations=equations_for(kind),
        inputs=_filled(inputs_table(basis.inputs)),
        cautions=node.cautions or (),
        made_by=_made_by(node),
        file_name=f"airsense-{kind}.json",
        data_link=f"data:application/json;base64,{encoded}",
        data=Markup(_script_safe(text)),
    )


def findings_of(node: Node) -> Table:
    """Return the findings on the data; an audit's findings are its evidence instead."""
    own = [f for f in node.findings or () if f.severity is not None]
    return findings_table(own)


def _filled(*tables: Table) -> tuple[Table, ...]:
    return tuple(t for t in tables if t.rows)


def _answers(
    first: tuple[Headline, ...], keys: tuple[tuple[KeyFigure, ...], ...]
) -> tuple[_Answer, ...]:
    return tuple(
        _Answer(
            headline=headline,
            verdict=headline.badge,
            tone=tone(headline.verdict),
            keys=own,
        )
        for headline, own in zip(first, keys, strict=True)
    )


def _drawings(plain: dict[str, Any], shown: Shown) -> tuple[_Drawing, ...]:
    from markupsafe import Markup

    return tuple(
        _Drawing(
            name=picture.name,
            title=picture.title,
            caption=picture.caption,
            # Made by an XML writer, which escapes what it is given.
            svg=Markup(inline_svg(picture)),
        )
        for picture in pictures_of(plain, shown.system)
    )


def _about(node: Node, shown: Shown) -> str:
    parts = []
    if node.engine:
        parts.append(str(node.engine))
    if node.source:
        parts.append(str(node.source))
    if node.log:
        parts.append(str(node.log))
    if node.window is not None:
        low, high = node.window.engine_speed_rpm
        parts.append(
            f"{quantity(low, 'rpm', shown)} to {quantity(high, 'rpm', shown)}, "
            f"{node.window.bins} bins, {node.window.kind}"
        )
    return "; ".join(parts)


def _made_by(node: Node) -> str:
    version = f"airsense {node.version}" if node.version else "airsense"
    return (
        f"Made by {version}; form of the result: {node.schema}. "
        "The command “airsense report RESULT.json --report PAGE.html” makes this page again."
    )


def _script_safe(text: str) -> str:
    """Return JSON that can end neither its script element nor a line."""
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text


def _policy(style: str) -> str:
    digest = base64.b64encode(hashlib.sha256(style.encode("utf-8")).digest()).decode("ascii")
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def _read(name: str) -> str:
    folder = resources.files("airsense.report") / "templates"
    return (folder / name).read_text(encoding="utf-8")


@cache
def _style() -> str:
    return _read("page.css")


def _tie(value: Any) -> Any:
    """Keep a number and its per cent sign on one line; drop a character that ends a text."""
    if type(value) is not str:
        return value
    return value.replace(" %", "\u00a0%").replace("\x00", "\ufffd")


@cache
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    environment = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_tie,
    )
    return environment.from_string(_read("page.html.j2"))
