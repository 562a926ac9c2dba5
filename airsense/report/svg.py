"""A drawn figure as SVG that may stand in a page: unique names, no styles, words for the blind.

A strict content security policy allows no style attribute and no style sheet inside a figure, so
both become presentation attributes, which mean the same.
"""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

from airsense.report.figure import Picture
from airsense.report.figures import drawn

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"
FONTS = "'DejaVu Sans', Verdana, sans-serif"
_DROPPED = (f"{{{SVG}}}metadata", f"{{{SVG}}}style")
_FONT = re.compile(
    r"(?:(?P<style>italic|oblique)\s+)?(?:(?P<weight>bold|\d{3})\s+)?(?P<size>[\d.]+)px\s+.*"
)
# Characters that XML cannot hold, not even escaped; a name from a file may.
_ILLEGAL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
_REFERENCE = re.compile(r"url\(#([^)]+)\)")
# Fill-in of pixels that no screen shows; a third of the size of a page is digits.
_LONG_NUMBER = re.compile(r"-?\d+\.\d{3,}")


def inline_svg(picture: Picture) -> str:
    """Return a figure as an `svg` element that scales with the page."""
    ET.register_namespace("", SVG)
    ET.register_namespace("xlink", XLINK)
    root = ET.fromstring(_legal(drawn(picture, "svg").decode("utf-8")))
    _drop(root)
    for element in root.iter():
        _style_to_attributes(element)
        _prefix_names(element, picture.name)
        for name in ("d", "points", "transform", "x", "y"):
            if name in element.attrib:
                element.set(name, _LONG_NUMBER.sub(_two_digits, element.attrib[name]))
    _describe(root, picture)
    return ET.tostring(root, encoding="unicode")


def _legal(text: str) -> str:
    return _ILLEGAL.sub("\ufffd", text)


def _two_digits(match: re.Match[str]) -> str:
    return f"{float(match.group()):.2f}".rstrip("0").rstrip(".")


def _drop(root: ET.Element) -> None:
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in _DROPPED:
                parent.remove(child)


def _style_to_attributes(element: ET.Element) -> None:
    style = element.attrib.pop("style", "")
    for declaration in style.split(";"):
        name, colon, value = (part.strip() for part in declaration.partition(":"))
        if not colon:
            continue
        if name == "font":
            _font_to_attributes(element, value)
        else:
            element.set(name, value)


def _font_to_attributes(element: ET.Element, value: str) -> None:
    match = _FONT.fullmatch(value)
    if match is None:
        return
    element.set("font-size", match["size"])
    element.set("font-family", FONTS)
    for name in ("style", "weight"):
        if match[name]:
            element.set(f"font-{name}", match[name])


def _prefix_names(element: ET.Element, prefix: str) -> None:
    """Make ids unique in a page that holds many figures."""
    for name, value in list(element.attrib.items()):
        if name == "id":
            element.set(name, f"{prefix}.{value}")
        elif name in ("href", f"{{{XLINK}}}href") and value.startswith("#"):
            element.set(name, f"#{prefix}.{value[1:]}")
        elif "url(#" in value:
            element.set(name, _REFERENCE.sub(rf"url(#{prefix}.\1)", value))


def _describe(root: ET.Element, picture: Picture) -> None:
    for name in ("width", "height", "version"):
        root.attrib.pop(name, None)
    root.set("role", "img")
    root.set("aria-labelledby", f"{picture.name}.title {picture.name}.desc")
    for position, (tag, text) in enumerate((("title", picture.title), ("desc", picture.alt))):
        child = ET.Element(f"{{{SVG}}}{tag}", {"id": f"{picture.name}.{tag}"})
        child.text = _legal(text)
        root.insert(position, child)
