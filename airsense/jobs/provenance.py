"""Which files went into a result, with their checksums."""

from __future__ import annotations

import hashlib
from pathlib import Path

from airsense.reading import MOST_RESULT_BYTES, read_bounded
from airsense.results import InputFile
from airsense.setup.engine import EngineSetup
from airsense.setup.ve_table import VeTable


def file_input(path: str | Path, role: str) -> InputFile:
    """Return name and checksum of a file; an empty checksum if it cannot be read."""
    try:
        digest = hashlib.sha256(read_bounded(path, MOST_RESULT_BYTES)).hexdigest()
    except OSError:
        digest = ""
    return InputFile(path=str(path), sha256=digest, role=role)


def setup_inputs(engine_file: str | Path, setup: EngineSetup) -> tuple[InputFile, ...]:
    """Return the setup and the tables that it names."""
    found = [file_input(engine_file, "setup")]
    if setup.compressor_map is not None:
        found.append(file_input(setup.compressor_map.file, "compressor map"))
    if isinstance(setup.engine.volumetric_efficiency, VeTable):
        path = setup.engine.volumetric_efficiency.path
        found.append(file_input(path, "volumetric efficiency"))
    return tuple(found)
