"""A transfer table as an argument."""

from __future__ import annotations

from typing import TYPE_CHECKING

from airsense.api.arguments import PathLike, as_path, blaming
from airsense.jobs.provenance import file_input
from airsense.transfer.file import read_table
from airsense.transfer.model import TransferTable

if TYPE_CHECKING:
    from airsense.results import InputFile


def as_table(
    given: PathLike | TransferTable, name: str
) -> tuple[TransferTable, tuple[InputFile, ...]]:
    """Return a table, and the file that it came from.

    Raises
    ------
    InputError
        If the file cannot be used, or the argument is neither path nor table.
    """
    if isinstance(given, TransferTable):
        return given, ()
    path = as_path(given, name, allowed="the path of a table (CSV), or a TransferTable")
    with blaming(name):
        return read_table(path), (file_input(path, name.replace("_", " ")),)
