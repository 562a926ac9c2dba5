"""The figures of any result: for the page, one by one in Python, and as files."""

from __future__ import annotations

import importlib
import io
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from airsense.errors import InputError
from airsense.report.figure import Picture
from airsense.report.figures.style import styled
from airsense.report.files import refuse_overwrite, write_bytes
from airsense.report.node import Node, node_of
from airsense.report.units_shown import shown_for

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WITHOUT_FIGURES = ("channels",)
FORMATS = ("svg", "png", "pdf")
# Without these a file would hold the time at which it was made and never be the same twice.
_NO_DATE: dict[str, dict[str, Any]] = {
    "svg": {"Date": None, "Creator": "airsense"},
    "pdf": {"CreationDate": None, "Creator": "airsense"},
    "png": {"Software": "airsense"},
}


def pictures_of(result: Any, units: str | None = None) -> tuple[Picture, ...]:
    """Return the figures of a result, not yet drawn.

    Parameters
    ----------
    result : dataclass, dict or Node
        A result, or its plain JSON object.
    units : str, optional
        "si" or "us"; without it, the units in which the logs were written.
    """
    node = node_of(result)
    kind = node.result_kind
    if kind in WITHOUT_FIGURES:
        return ()
    module = importlib.import_module(f"airsense.report.figures.{kind}")
    found: tuple[Picture, ...] = module.pictures(node, shown_for(node, units))
    return found


def figure(result: Any, name: str, units: str | None = None) -> Figure:
    """Return one figure of a result by name, drawn, as a matplotlib Figure.

    Raises
    ------
    InputError
        If the result has no figure of that name.
    """
    pictures = {picture.name: picture for picture in pictures_of(result, units)}
    if name not in pictures:
        raise InputError(
            "the result has no such figure",
            where="name",
            got=name,
            allowed=", ".join(pictures) or "none: this kind of result has no figures",
            fix="use one of these names",
        )
    with styled():
        return pictures[name].draw()


def drawn(picture: Picture, file_format: str) -> bytes:
    """Return a figure as the content of an SVG, PNG or PDF file; the same each time."""
    stream = io.BytesIO()
    with styled(), warnings.catch_warnings():
        # Names may hold letters that the font lacks; a page shows them in the reader's own font.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        picture.draw().savefig(stream, format=file_format, metadata=_NO_DATE[file_format])
    return stream.getvalue()


def write_figures(
    result: Any,
    directory: str | Path,
    *,
    formats: Sequence[str] = ("svg",),
    units: str | None = None,
    force: bool = False,
) -> tuple[Path, ...]:
    """Write each figure of a result as `<kind>_<name>.<format>` and return the paths.

    Raises
    ------
    InputError
        If a format is unknown, or a file exists and `force` is false; then none is written.
    """
    for name in formats:
        if name not in FORMATS:
            raise InputError(
                "unknown format of figures",
                where="formats",
                got=name,
                allowed=", ".join(FORMATS),
                fix="use one of these",
            )
    node: Node = node_of(result)
    folder = Path(directory)
    wanted = [
        (folder / f"{node.result_kind}_{picture.name}.{name}", picture, name)
        for picture in pictures_of(node, units)
        for name in formats
    ]
    make_folder(folder)
    for path, _, _ in wanted:
        refuse_overwrite(path, force=force)
    for path, picture, name in wanted:
        write_bytes(path, drawn(picture, name), force=force)
    return tuple(path for path, _, _ in wanted)


def make_folder(folder: Path) -> None:
    """Create a folder for figures if it is not there.

    Raises
    ------
    InputError
        If it cannot be created.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            "folder cannot be made",
            where=str(folder),
            got=error.strerror or type(error).__name__,
            allowed="a folder, or a place where one can be made",
            fix="name another folder, or remove the file of that name",
        ) from None
