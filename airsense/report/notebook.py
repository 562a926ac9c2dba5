"""A result in a notebook: its page, shut off from the notebook's own styles and scripts."""

from __future__ import annotations

from html import escape
from typing import Any

from airsense.report.html import render_page

# One screen of a notebook.
HEIGHT_PX = 640


def notebook(result: Any, *, units: str | None = None) -> str:
    """Return the page of a result as a frame that a notebook can hold."""
    page = escape(render_page(result, units=units), quote=True)
    return (
        f'<iframe title="airsense result" sandbox="allow-downloads" width="100%" '
        f'height="{HEIGHT_PX}" style="border:1px solid #d3dae0" srcdoc="{page}"></iframe>'
    )
