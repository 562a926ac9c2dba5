"""A kind of result that is given as headlines, key figures and tables."""

from __future__ import annotations

import importlib
from collections.abc import Iterable
from dataclasses import replace
from typing import Protocol, cast

from airsense.report.blocks import ONE_SCREEN, Block, Heading, Sentence, Table, filled, table
from airsense.report.figures import pictures_of
from airsense.report.headline import Headline, headlines
from airsense.report.node import Node
from airsense.report.page_parts import KeyFigure
from airsense.report.says.shared import cautions, inputs, method, part
from airsense.report.units_shown import Shown
from airsense.report.words import tone


class PageKind(Protocol):
    """What each module `page_<kind>` offers."""

    def keys(self, result: Node) -> tuple[tuple[KeyFigure, ...], ...]:
        """Return the key figures of each headline."""

    def evidence(self, result: Node, shown: Shown) -> tuple[Table, ...]:
        """Return the tables of the evidence."""

    def method(self, result: Node) -> tuple[Table, ...]:
        """Return the tables of the method."""


def blocks(result: Node, shown: Shown) -> tuple[Block, ...]:
    """Return what a result says, most important first."""
    page = importlib.import_module(f"airsense.report.page_{result.result_kind}")
    module = cast(PageKind, page)
    first = headlines(result)
    found: list[Block] = [part(first[0].question, "answer")]
    for headline, keys in zip(first, module.keys(result), strict=True):
        found += [b for b in headline_blocks(headline, keys) if b not in found]
    main, *others = module.evidence(result, shown)
    found.append(replace(main, level=ONE_SCREEN))
    found += cautions(result)
    found.append(part("Evidence", "evidence"))
    found += pictures_of(result, shown.system)
    found += others
    found += method(result)
    found += module.method(result)
    found += inputs(result)
    return filled(found)


def headline_blocks(headline: Headline, keys: tuple[KeyFigure, ...] = ()) -> Iterable[Block]:
    """Yield a headline: subject, verdict, answer, key figures, caveat, what to do next."""
    yield Heading(
        text=headline.subject or headline.question,
        badge=headline.badge,
        tone=tone(headline.verdict),
    )
    yield Sentence(text=headline.answer)
    titles = ("key figure", "value", "range")
    yield table(
        "Key figures",
        titles,
        ((k.label, k.value, k.interval) for k in keys),
        numbers=titles[1:],
    )
    yield Sentence(text=headline.confidence)
    yield Sentence(lead="But:", text=headline.caveat)
    yield Sentence(lead="Measure next:", text=headline.next_step)
