"""Blocks as one page: opens offline, needs no script, holds its own data.

The page is made from the plain JSON of a result, so that the same result gives the same page
whenever it is made. Whatever comes from a log or a setup is escaped; a content security policy
allows nothing but the page's own style sheet.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib import resources
from itertools import groupby
from typing import TYPE_CHECKING, Any

from airsense.report.as_json import to_plain
from airsense.report.blocks import PART, Block, Heading
from airsense.report.figure import Picture
from airsense.report.node import Node, node_of
from airsense.report.says import blocks
from airsense.report.svg import inline_svg
from airsense.report.tables import quantity
from airsense.report.units_shown import Shown, shown_for

if TYPE_CHECKING:
    from jinja2 import Template
    from markupsafe import Markup


@dataclass(frozen=True, slots=True, kw_only=True)
class _Group:
    """Blocks of one form that follow each other."""

    form: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Card:
    """What stands under one heading."""

    heading: Heading | None
    groups: tuple[_Group, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """A part of the page with its cards."""

    heading: Heading
    cards: tuple[_Card, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Page:
    """Everything that the template shows."""

    kind: str
    version: str
    policy: str
    style: Markup
    title: str
    about: str
    parts: tuple[_Part, ...]
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
        If it is no result of a kind and form that is known.
    """
    plain = to_plain(result)
    return _template().render(page=_page(plain, node_of(plain), units), svg=_svg)


def _page(plain: dict[str, Any], node: Node, units: str | None) -> _Page:
    from markupsafe import Markup

    parts = _parts(blocks(node, units))
    kind, style = node.result_kind, _style()
    # The demo rests on the comparison inside it.
    basis = node.compare if "compare" in node else node
    text = json.dumps(plain, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    encoded = base64.b64encode(text.encode("utf-8")).decode("ascii")
    subject = basis.engine if "engine" in basis else parts[0].heading.text
    return _Page(
        kind=kind,
        version=node.version,
        policy=_policy(style),
        style=Markup(style),
        title=f"airsense {kind}: {subject}",
        about=_about(basis, shown_for(node, units)),
        parts=parts,
        made_by=f"Made by airsense {node.version}; form of the result: {node.schema}. "
        "The command “airsense report RESULT.json --report PAGE.html” makes this page again.",
        file_name=f"airsense-{kind}.json",
        data_link=f"data:application/json;base64,{encoded}",
        data=Markup(_script_safe(text)),
    )


def _is_part(block: Block) -> bool:
    return isinstance(block, Heading) and block.rank == PART


def _parts(said: Iterable[Block]) -> tuple[_Part, ...]:
    return tuple(
        _Part(heading=heading, cards=tuple(_cards(inside)))
        for heading, inside in _under(said, _is_part)
        if heading is not None
    )


def _cards(said: Iterable[Block]) -> Iterable[_Card]:
    for heading, inside in _under(said, lambda block: isinstance(block, Heading)):
        groups = tuple(
            _Group(form=form, blocks=tuple(group))
            for form, group in groupby(inside, key=lambda block: block.form)
        )
        if heading is not None or groups:
            yield _Card(heading=heading, groups=groups)


def _under(said: Iterable[Block], begins: Any) -> Iterable[tuple[Heading | None, list[Block]]]:
    """Yield each heading with the blocks under it; what comes first has none."""
    heading: Heading | None = None
    inside: list[Block] = []
    for block in said:
        if isinstance(block, Heading) and begins(block):
            yield heading, inside
            heading, inside = block, []
        else:
            inside.append(block)
    yield heading, inside


def _svg(picture: Picture) -> Markup:
    from markupsafe import Markup

    # Made by an XML writer, which escapes what it is given.
    return Markup(inline_svg(picture))


def _about(node: Node, shown: Shown) -> str:
    known = [key for key in ("engine", "source", "log") if key in node]
    parts = [str(node[key]) for key in known if node[key]]
    if "window" in node:
        low, high = node.window.engine_speed_rpm
        parts.append(
            f"{quantity(low, 'rpm', shown)} to {quantity(high, 'rpm', shown)}, "
            f"{node.window.bins} bins, {node.window.kind}"
        )
    return "; ".join(parts)


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
