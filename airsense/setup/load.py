"""TOML files to frozen models, with five-part errors that name file, line and key."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BaseModel, ValidationError

from airsense.errors import InputError
from airsense.setup.engine import EngineSetup
from airsense.setup.ve_table import read_ve_table

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

Model = TypeVar("Model", bound=BaseModel)

MAX_TOML_BYTES = 1_000_000

_BRANCHES = {"constrained-float", "float", "str", "int", "is-instance[VeTable]"}

_FIX_BY_KEY = {
    "displacement_l": "give litres (1998 cm3 = 1.998 l)",
    "charge_volume_l": "give litres from compressor outlet to the valves",
    "volumetric_efficiency": "give a fraction (92 % = 0.92), or the name of a table file, "
    "or leave the key out",
    "lower_heating_value_mj_kg": "give MJ/kg (42,900 kJ/kg = 42.9)",
    "density_kg_l": "give kg per litre (835 kg/m3 = 0.835)",
    "time_constant_s": "give seconds",
    "relative_humidity": "give a fraction (45 % = 0.45)",
    "ambient_temperature_c": "give degrees Celsius (68 degF = 20 degC)",
    "barometric_pressure_kpa": "give kPa absolute (1013 mbar = 101.3 kPa)",
    "order": "give a whole number: 1 for the first run, 2 for the second, ...",
}


def load_engine(path: str | Path) -> EngineSetup:
    """Read engine.toml.

    Raises
    ------
    InputError
        If the file cannot be read, is not TOML, or holds a key or value that is not allowed.
    """
    setup = load_model(path, EngineSetup)
    folder = Path(path).parent
    found: dict[str, object] = {}
    if setup.compressor_map is not None:
        file = str(folder / setup.compressor_map.file)
        found["compressor_map"] = setup.compressor_map.model_copy(update={"file": file})
    named = setup.engine.volumetric_efficiency
    if isinstance(named, str):
        table = read_ve_table(folder / named)
        found["engine"] = setup.engine.model_copy(update={"volumetric_efficiency": table})
    return setup.model_copy(update=found) if found else setup


def load_model(path: str | Path, model: type[Model]) -> Model:
    """Read a TOML file into a frozen model.

    Raises
    ------
    InputError
        With file, line and key, if the file or its contents cannot be used.
    """
    text = read_toml_text(path)
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # also a number too long, nesting too deep
        raise _syntax_error(path, text, error) from None
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise _five_parts(path, text, error, model) from None


def read_toml_text(path: str | Path) -> str:
    """Return the text of a TOML file.

    Raises
    ------
    InputError
        If it is missing, a folder, too large or not UTF-8.
    """
    file = Path(path)
    try:
        if file.stat().st_size > MAX_TOML_BYTES:
            raise InputError(
                "setup file is far too large",
                where=str(path),
                got=f"{file.stat().st_size} bytes",
                allowed=f"at most {MAX_TOML_BYTES} bytes",
                fix="give the TOML file, not a log",
            )
        return file.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise InputError(
            "setup file cannot be read",
            where=str(path),
            got=error.strerror or type(error).__name__,
            allowed="a readable TOML file",
            fix="check the path; `airsense new engine --out engine.toml` writes a template",
        ) from None
    except UnicodeDecodeError as error:
        raise InputError(
            "setup file is not text in UTF-8",
            where=f"{path}, byte {error.start}",
            got=f"byte 0x{error.object[error.start]:02x}",
            allowed="a TOML file saved as UTF-8",
            fix="save the file again with UTF-8 encoding",
        ) from None


def _syntax_error(path: str | Path, text: str, error: Exception) -> InputError:
    match = re.search(r"line (\d+)", str(error))
    at_end = "end of document" in str(error)
    number = int(match.group(1)) if match else text.count("\n") + 1
    known = match is not None or at_end
    lines = text.splitlines()
    found = lines[number - 1].strip() if 0 < number <= len(lines) else "end of file"
    return InputError(
        "setup file is not valid TOML",
        where=f"{path}, line {number}" if known else str(path),
        got=(found[:120] or "an empty line") if known else "something that no TOML reader takes",
        allowed='key = value, text in "double quotes", sections in [brackets]',
        fix=str(error)[:200],
    )


def _five_parts(
    path: str | Path, text: str, error: ValidationError, model: type[BaseModel]
) -> InputError:
    details = error.errors()
    # A misspelt key shows as an unknown one and a missing one: the unknown one names the cure.
    first = next((d for d in details if d["type"] == "extra_forbidden"), details[0])
    names = [str(part) for part in first["loc"] if not _is_branch(part, first)]
    key = names[-1] if names else "the file"
    more = f" ({len(details) - 1} more below it)" if len(details) > 1 else ""
    return InputError(
        _what(first, key) + more,
        where=f"{path}, {_line_of(text, names)}{_dotted(names)}",
        got=_got(first),
        allowed=_allowed(first, model, names),
        fix=_fix(first, model, names),
    )


def _is_branch(part: int | str, detail: ErrorDetails) -> bool:
    """Pydantic adds the branch of a union (`constrained-float`, `str`) to the path of the key."""
    return isinstance(part, str) and part in _BRANCHES and (part != detail["loc"][0])


def _what(detail: ErrorDetails, key: str) -> str:
    kind = detail["type"]
    if kind == "extra_forbidden":
        return f"unknown key {key}"
    if kind == "missing":
        return f"{key} is missing"
    if kind == "enum":
        return f"{key} is not one of the choices"
    if kind.startswith(("greater", "less")):
        return f"{key} is outside what is possible"
    return f"{key} cannot be used"


def _got(detail: ErrorDetails) -> str:
    return "nothing" if detail["type"] == "missing" else repr(detail["input"])[:160]


def _keys_at(model: type[BaseModel], names: Sequence[str]) -> list[str]:
    """Return the keys that the section around the last name allows."""
    current: Any = model
    for name in names[:-1]:
        field = getattr(current, "model_fields", {}).get(name)
        if field is None:
            continue
        current = field.annotation
        for inner in getattr(current, "__args__", ()):
            if hasattr(inner, "model_fields"):
                current = inner
    fields = getattr(current, "model_fields", {})
    return [field.alias or key for key, field in fields.items()]


def _allowed(detail: ErrorDetails, model: type[BaseModel], names: Sequence[str]) -> str:
    kind = detail["type"]
    if kind == "extra_forbidden":
        return ", ".join(_keys_at(model, names)) or "no keys here"
    if kind == "enum":
        return str(detail.get("ctx", {}).get("expected", detail["msg"]))
    return detail["msg"].removeprefix("Value error, ").removeprefix("Input should be ")


def _fix(detail: ErrorDetails, model: type[BaseModel], names: Sequence[str]) -> str:
    key = names[-1] if names else ""
    if detail["type"] == "extra_forbidden":
        near = difflib.get_close_matches(key, _keys_at(model, names), n=1)
        return f"write {near[0]}" if near else "take the key out, or move it to its section"
    if detail["type"] == "missing":
        return f"add {key} to {_dotted(names[:-1]) or 'the top of the file'}"
    return _FIX_BY_KEY.get(key, f"change {key} to an allowed value")


def _dotted(names: Sequence[str]) -> str:
    if not names:
        return ""
    return names[0] if len(names) == 1 else f"[{'.'.join(names[:-1])}] {names[-1]}"


def _line_of(text: str, names: Sequence[str]) -> str:
    """Return 'line N, ' for the key inside its section, or '' where it does not stand."""
    sections = [n for n in names[:-1] if not n.isdigit()]
    wanted = ".".join(sections)
    nth = next((int(n) for n in names if n.isdigit()), 0)
    seen, inside = -1, not sections
    for number, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*\[\[?\s*([^\]]+?)\s*\]", line)
        if header:
            if header.group(1) == wanted:
                seen += 1
            inside = header.group(1) == wanted and seen == nth
            if names and header.group(1) == names[-1] and not sections:
                return f"line {number}, "
        elif inside and names and re.match(rf"\s*[\"']?{re.escape(names[-1])}[\"']?\s*=", line):
            return f"line {number}, "
    return ""
