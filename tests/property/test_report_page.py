"""The page: the same each time, from the JSON alone, nothing in it that is not a field."""

from __future__ import annotations

import copy
import json
import re
from functools import cache
from html.parser import HTMLParser
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from airsense.errors import InputError
from airsense.report.as_json import to_json, to_plain
from airsense.report.html import render_page
from airsense.report.kinds import KINDS
from airsense.report.units_shown import Shown
from airsense.report.words import number, percent, probability
from tests.report_results import COMPARE, result_of
from tests.report_results import KINDS as MADE

pytestmark = pytest.mark.slow

MOST_BYTES = 1_500_000
HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'&{{7*7}}</title>"


@cache
def page_of(kind: str, units: str | None = None) -> str:
    """Return the page of a result, made once."""
    return render_page(result_of(kind), units=units)


class Reader(HTMLParser):
    """What a browser would see: elements, attributes, ids, and text by element."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.ids: list[str] = []
        self.cells: list[str] = []
        self.data = ""
        self._open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.tags.append((tag, found))
        if found.get("id"):
            self.ids.append(str(found["id"]))
        self._open.append(tag)
        if tag == "td":
            self.cells.append("")

    def handle_endtag(self, tag: str) -> None:
        while self._open and self._open.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if "td" in self._open:
            self.cells[-1] += data
        if self._open and self._open[-1] == "script":
            self.data += data


def read(page: str) -> Reader:
    """Return a parsed page."""
    reader = Reader()
    reader.feed(page)
    return reader


@pytest.mark.parametrize("kind", MADE)
def test_the_page_from_json_is_the_page_from_the_result(kind: str) -> None:
    page = page_of(kind)
    assert page == render_page(json.loads(to_json(result_of(kind)))), "and the same again"


@pytest.mark.parametrize("kind", MADE)
def test_the_page_holds_its_result(kind: str) -> None:
    assert json.loads(read(page_of(kind)).data) == json.loads(to_json(result_of(kind)))


@pytest.mark.parametrize("kind", MADE)
def test_ids_are_unique_and_references_inside_the_page_exist(kind: str) -> None:
    page = page_of(kind)
    reader = read(page)
    assert len(reader.ids) == len(set(reader.ids))
    wanted = set(re.findall(r'(?:href="#|url\(#)([^")]+)', page))
    for _, attributes in reader.tags:
        wanted |= set((attributes.get("aria-labelledby") or "").split())
    assert wanted <= set(reader.ids)


@pytest.mark.parametrize("kind", MADE)
def test_the_page_asks_for_nothing_and_runs_nothing(kind: str) -> None:
    page = page_of(kind)
    reader = read(page)
    (policy,) = [str(a["content"]) for _, a in reader.tags if "http-equiv" in a]
    assert policy.startswith("default-src 'none'; style-src 'sha256-") and "unsafe" not in policy
    scripts = [a for tag, a in reader.tags if tag == "script"]
    assert [a["type"] for a in scripts] == ["application/json"]
    for tag, attributes in reader.tags:
        assert tag not in {"iframe", "object", "embed", "link", "base", "form", "img"}
        assert "style" not in attributes
        assert not [name for name in attributes if name.startswith("on")]
        for name in ("href", "src", "xlink:href"):
            value = attributes.get(name) or "#"
            assert value.startswith(
                ("#", "data:application/json;base64,", "data:image/png;base64,")
            )


@pytest.mark.parametrize("kind", MADE)
def test_each_figure_has_words(kind: str) -> None:
    reader = read(page_of(kind))
    figures = [a for tag, a in reader.tags if tag == "svg"]
    assert len([t for t, _ in reader.tags if t == "figcaption"]) == len(figures)
    assert all(a["role"] == "img" and a["aria-labelledby"] for a in figures)
    assert kind == "channels" or figures


NUMBER = re.compile(r"[+−]?\d[\d.]*(?:e[+−-]?\d+)?")


def leaves(value: Any) -> Any:
    """Yield every number and text of a result."""
    if isinstance(value, dict):
        for item in value.values():
            yield from leaves(item)
    elif isinstance(value, list):
        for item in value:
            yield from leaves(item)
    elif value is not None:
        yield value


def shown_forms(value: float) -> set[str]:
    """Return each form in which a number of a result may stand on a page."""
    forms = {str(value)}
    for digits in (0, 1, 2):
        for sign in (True, False):
            # A factor is shown as a change: 1.05 as +5 %.
            forms |= {percent(x, digits, sign=sign) for x in (value, value - 1.0)}
    forms.add(probability(value))
    for digits in (2, 3, 4, 5):
        forms.add(number(value, digits))
        for unit in ("kg/s", "Pa", "W", "m", "kg"):
            forms |= {number(Shown(s).number(value, unit), digits) for s in ("si", "us")}
    return {form.removesuffix(" %").removeprefix("> ").removeprefix("< ") for form in forms}


def strangers(page: str, plain: dict[str, Any]) -> list[str]:
    """Return the numbers in the page's tables that are no field of the result."""
    allowed: set[str] = set()
    for leaf in leaves(plain):
        if isinstance(leaf, str):
            allowed |= set(NUMBER.findall(leaf.replace("-", "−"))) | set(NUMBER.findall(leaf))
        elif not isinstance(leaf, bool):
            allowed |= shown_forms(float(leaf)) | {str(leaf)}
    found: list[str] = []
    for cell in read(page).cells:
        found += [n for n in NUMBER.findall(cell.replace("\u00a0", " ")) if n not in allowed]
    return found


@pytest.mark.parametrize("kind", MADE)
@pytest.mark.parametrize("units", ["si", "us"])
def test_every_number_in_a_table_is_a_field_of_the_result(kind: str, units: str) -> None:
    plain = to_plain(result_of(kind))
    assert strangers(page_of(kind, units), plain) == []


def test_a_number_that_is_no_field_is_found() -> None:
    plain = to_plain(result_of("compare"))
    page = page_of("compare", "si").replace("</td>", " 0.123456</td>", 1)
    assert strangers(page, plain) == ["0.123456"]


def poison(value: Any) -> Any:
    """Return a result whose every free text is hostile; names from a closed list stay."""
    if isinstance(value, dict):
        return {
            key: HOSTILE if key in FREE and isinstance(item, str) else poison(item)
            for key, item in value.items()
        }
    if isinstance(value, list):
        return [poison(item) for item in value]
    return value


FREE = {
    "engine",
    "path",
    "message",
    "where",
    "fix",
    "label",
    "sentence",
    "intake",
    "tune",
    "baseline",
    "configuration",
    "header",
    "log",
    "reader",
    "claim",
    "subject",
    "quantity",
    "value",
    "source",
    "reason",
    "note",
    "from",
    "to",
    "measurement",
    "request",
    "recognised_by",
    "unit_read",
    "signal_unit",
    "kind",
    "name",
    "version",
    "sha256",
    "settle_by",
}


@pytest.mark.parametrize("kind", MADE)
def test_markup_in_names_stays_text(kind: str) -> None:
    page = render_page(poison(to_plain(result_of(kind))))
    reader = read(page)
    assert [t for t, _ in reader.tags].count("script") == 1, "its own data"
    assert not [t for t, _ in reader.tags if t == "img"]
    assert "{{7*7}}" in page and "&lt;script&gt;" in page
    assert "<script>alert" not in page


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(name=st.text(max_size=60))
def test_any_header_can_be_shown(name: str) -> None:
    plain = copy.deepcopy(to_plain(result_of("channels")))
    plain["channels"][0]["header"] = name
    reader = read(render_page(plain))
    # A parser turns every kind of line end into one, as the standard says.
    assert json.loads(reader.data)["channels"][0]["header"] == name


@pytest.mark.parametrize("name", ["$x^2$", "100 $", r"\frac{1}{0}", "a\nb", "", "名前", "x" * 500])
def test_any_configuration_can_be_drawn(name: str) -> None:
    plain = to_plain(COMPARE)
    plain["pairs"][0]["intake"] = name
    for item in (*plain["curves"]["flows"], *plain["curves"]["repeats"]):
        if item["configuration"].startswith("cone"):
            item["configuration"] = name
    assert "</html>" in render_page(plain)


def test_a_page_is_small() -> None:
    assert len(page_of("compare").encode("utf-8")) < MOST_BYTES


def test_us_units_are_shown_when_asked_for() -> None:
    assert "lb/min" in page_of("rescale", "us") and "g/s" not in page_of("rescale", "us")
    assert "g/s" in page_of("rescale", "si")


def test_without_a_wish_the_units_are_those_of_the_logs() -> None:
    plain = copy.deepcopy(to_plain(result_of("compare")))
    assert "air mass flow, g/s" in page_of("compare")
    plain["units_read"] = "us"
    assert "air mass flow, lb/min" in render_page(plain)


def test_an_unknown_kind_is_refused() -> None:
    with pytest.raises(InputError, match="no result"):
        render_page({"schema": "airsense.other/1"})


def test_a_result_without_curves_has_its_page() -> None:
    plain = copy.deepcopy(to_plain(result_of("compare")))
    plain["curves"] = None
    page = render_page(plain)
    assert "figure-routes" in page and "figure-flow-by-route" not in page


def test_missing_numbers_are_shown_as_such() -> None:
    plain = copy.deepcopy(to_plain(result_of("compare")))
    plain["pairs"][0]["brake_power_change"] = None
    plain["pairs"][0]["fuel_change"] = {"value": 0.1, "low": None, "high": None}
    assert ">nan" not in render_page(plain).lower()


@pytest.mark.parametrize("kind", ["tube", "rescale", "plan"])
def test_the_notebook_shows_the_page_in_a_frame_of_its_own(kind: str) -> None:
    result = result_of(kind)
    frame = result._repr_html_()
    (tag, attributes), *others = read(frame).tags
    assert tag == "iframe" and not others
    assert attributes["srcdoc"] == page_of(kind)
    assert "allow-scripts" not in str(attributes["sandbox"])


def test_each_kind_with_a_page_is_tested() -> None:
    assert set(MADE) == set(KINDS)
