"""The commented templates that `airsense new` writes."""

from __future__ import annotations

from enum import Enum
from importlib import resources


class Template(Enum):
    """The kinds of setup file."""

    ENGINE = "engine"
    CAMPAIGN = "campaign"
    CLAIMS = "claims"


def template_text(kind: Template) -> str:
    """Return the text of a template."""
    folder = resources.files("airsense.setup") / "templates"
    return (folder / f"{kind.value}.toml").read_text(encoding="utf-8")
