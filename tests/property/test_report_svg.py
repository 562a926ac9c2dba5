"""Figures in a page: no style that a strict policy would block, whatever wrote the SVG."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from airsense.errors import InputError
from airsense.report import svg
from airsense.report.figure import Picture
from airsense.report.figures import figure, pictures_of, write_figures
from airsense.report.figures.style import new_figure
from airsense.report.svg import inline_svg
from tests.report_results import result_of


def a_picture(text: str = "words") -> Picture:
    """Return a figure with a text, a clipped line and a fill."""

    def draw() -> object:
        drawn = new_figure(2.0)
        axes = drawn.add_subplot()
        axes.plot([0, 1], [0, 1])
        axes.fill_between([0, 1], [0, 0], [1, 1])
        axes.set_title(text, style="italic")
        return drawn

    return Picture(name="one", title=text, caption="", alt=text, draw=draw)  # type: ignore[arg-type]


# Older releases of matplotlib write the font as one property, newer ones as several.
@pytest.mark.parametrize(
    ("style", "expected"),
    [
        (
            "font: italic bold 12px 'DejaVu Sans'; text-anchor: middle",
            {"font-style": "italic", "font-weight": "bold", "font-size": "12"},
        ),
        ("font: 8.5px 'DejaVu Sans', 'Verdana'", {"font-size": "8.5"}),
        ("font: 700 9px 'DejaVu Sans'; fill: #123456", {"font-weight": "700", "fill": "#123456"}),
        ("font-size: 9px; font-family: 'DejaVu Sans'", {"font-size": "9px"}),
        ("stroke: #fff; stroke-width: 0.8", {"stroke": "#fff", "stroke-width": "0.8"}),
        ("", {}),
    ],
)
def test_styles_become_attributes(style: str, expected: dict[str, str]) -> None:
    element = ET.Element("text", {"style": style})
    svg._style_to_attributes(element)
    assert "style" not in element.attrib
    assert expected.items() <= element.attrib.items()


def test_a_figure_scales_and_says_what_it_is() -> None:
    root = ET.fromstring(inline_svg(a_picture()))
    assert "width" not in root.attrib and "viewBox" in root.attrib
    assert root.attrib["role"] == "img"
    assert [child.tag.rpartition("}")[2] for child in list(root)[:2]] == ["title", "desc"]
    assert not [e for e in root.iter() if e.tag.endswith(("style", "metadata", "script"))]


def test_names_are_those_of_the_figure_and_references_follow() -> None:
    root = ET.fromstring(inline_svg(a_picture()))
    ids = {e.attrib["id"] for e in root.iter() if "id" in e.attrib}
    assert all(name.startswith("one.") for name in ids)
    clips = [e.attrib["clip-path"] for e in root.iter() if "clip-path" in e.attrib]
    assert clips and all(c.removeprefix("url(#").removesuffix(")") in ids for c in clips)


def test_words_stay_words_and_markup_stays_text() -> None:
    text = "<b>bold</b> & $x^2$"
    root = ET.fromstring(inline_svg(a_picture(text)))
    assert text in [e.text for e in root.iter() if e.tag.endswith("}text")]


def test_rounding_moves_nothing_that_can_be_seen() -> None:
    root = ET.fromstring(inline_svg(a_picture()))
    line = next(
        e.attrib["d"]
        for e in root.iter()
        if e.tag.endswith("}path") and e.attrib.get("stroke-width") == "1.6"
    )
    numbers = [part for part in line.split() if part[0].isdigit()]
    assert numbers and all(len(n.partition(".")[2]) <= 2 for n in numbers)


def test_one_figure_can_be_had_by_name() -> None:
    names = [p.name for p in pictures_of(result_of("compare"))]
    assert "decomposition" in names
    assert figure(result_of("compare"), "decomposition").axes
    with pytest.raises(InputError, match="no such figure"):
        figure(result_of("compare"), "nonsense")


def test_an_unknown_format_is_refused_before_anything_is_written(tmp_path: object) -> None:
    from pathlib import Path

    folder = Path(str(tmp_path)) / "figures"
    with pytest.raises(InputError, match="format"):
        write_figures(result_of("tube"), folder, formats=("svg", "bmp"))
    assert not folder.exists()
