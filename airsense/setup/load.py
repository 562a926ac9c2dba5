"""TOML files to frozen models, with five-part errors that name file, line and key."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError

from airsense.errors import InputError
from airsense.reading import Wanted, read_text
from airsense.setup.engine import EngineSetup
from airsense.setup.measured import KINDS, kind_of
from airsense.setup.ve_table import read_ve_table

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

Model = TypeVar("Model", bound=BaseModel)

WANTED = Wanted(
    what="setup file",
    kind="TOML file",
    fix="check the path; `airsense new engine --out engine.toml` writes a template",
    instead="give the TOML file, not a log",
)
# No setup has more than five; far deeper than that, repr and validation run out of stack.
MOST_LEVELS = 50

_IN_KEY = "[key]"
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
    if _deeper_than(data, MOST_LEVELS):
        raise _syntax_error(path, text, ValueError(f"at most {MOST_LEVELS} levels of nesting"))
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise _five_parts(path, text, error, model) from None


def _deeper_than(data: object, levels: int) -> bool:
    """Whether tables and arrays are nested deeper than so; level by level, without recursion."""
    level: list[object] = [data]
    for _ in range(levels):
        level = [
            inner
            for outer in level
            if isinstance(outer, dict | list)
            for inner in (outer.values() if isinstance(outer, dict) else outer)
        ]
    return any(isinstance(inner, dict | list) for inner in level)


def read_toml_text(path: str | Path) -> str:
    """Return the text of a TOML file.

    Raises
    ------
    InputError
        If it is missing, a folder, too large or not UTF-8.
    """
    return read_text(path, WANTED)


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
    names = _names(first)
    key = names[-1] if names else "the file"
    more = f" ({len(details) - 1} more below it)" if len(details) > 1 else ""
    return InputError(
        _what(first, key) + more,
        where=f"{path}, {_line_of(text, names)}{_dotted(names)}",
        got=_got(first),
        allowed=_allowed(first, model),
        fix=_fix(first, model, names),
    )


def _names(detail: ErrorDetails) -> list[str]:
    """Return the path of the key as it stands in the file.

    Pydantic adds the branch of a union (`constrained-float`, `str`, the `what` of a
    measurement) and "[key]"; of a measurement of no known kind it leaves the `what` out.
    """
    loc = detail["loc"]
    kinds = {kind_of(model) for model in KINDS}
    names = [
        str(part)
        for before, part in zip(("", *loc), loc, strict=False)
        if part != _IN_KEY
        and not (part in _BRANCHES and part != loc[0])
        and not (part in kinds and isinstance(before, int))
    ]
    return [*names, "what"] if detail["type"].startswith("union_tag") else names


def _what(detail: ErrorDetails, key: str) -> str:
    kind = detail["type"]
    if kind == "extra_forbidden" or detail["loc"][-1:] == (_IN_KEY,):
        return f"unknown key {key}"
    if kind in ("missing", "union_tag_not_found"):
        return f"{key} is missing"
    if kind in ("enum", "literal_error", "union_tag_invalid"):
        return f"{key} is not one of the choices"
    if kind.startswith(("greater", "less")):
        return f"{key} is outside what is possible"
    return f"{key} cannot be used"


def _got(detail: ErrorDetails) -> str:
    if detail["type"] in ("missing", "union_tag_not_found"):
        return "nothing"
    if detail["type"] == "union_tag_invalid":
        return repr(detail["ctx"]["tag"])[:160]
    return repr(detail["input"])[:160]


def _keys_at(model: type[BaseModel], loc: Sequence[int | str]) -> list[str]:
    """Return the keys that the section around the last part of a path allows."""
    current = [model]
    for part in loc[:-1]:
        fields = [m.model_fields[part] for m in current if part in m.model_fields]
        if fields:
            current = [inner for field in fields for inner in _models_in(field.annotation)]
        else:
            current = [m for m in current if kind_of(m) == part] or current
    return [field.alias or key for m in current for key, field in m.model_fields.items()]


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    """Return the sections that an annotation holds: `X`, `X | None`, `tuple[X, ...]`, ..."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [inner for part in get_args(annotation) for inner in _models_in(part)]


def _allowed(detail: ErrorDetails, model: type[BaseModel]) -> str:
    kind = detail["type"]
    if kind in ("extra_forbidden", "missing"):
        return ", ".join(_keys_at(model, detail["loc"])) or "no keys here"
    if kind == "union_tag_not_found":
        return ", ".join(kind_of(m) for m in KINDS)
    if kind in ("enum", "literal_error"):
        return str(detail.get("ctx", {}).get("expected", detail["msg"]))
    if kind == "union_tag_invalid":
        return str(detail["ctx"]["expected_tags"])
    if kind == "bool_type":
        return "true or false, without quotes"
    return detail["msg"].removeprefix("Value error, ").removeprefix("Input should be ")


def _fix(detail: ErrorDetails, model: type[BaseModel], names: Sequence[str]) -> str:
    key = names[-1] if names else ""
    if detail["type"] == "extra_forbidden":
        near = difflib.get_close_matches(key, _keys_at(model, detail["loc"]), n=1)
        return f"write {near[0]}" if near else "take the key out, or move it to its section"
    own = detail.get("ctx", {}).get("fix")
    if own:
        return str(own)
    choice = _near_choice(detail, model)
    if detail["loc"][-1:] == (_IN_KEY,):
        return f"write {choice}" if choice else "write one of these names"
    if choice:
        return f'write {key} = "{choice}"'
    if detail["type"] in ("missing", "union_tag_not_found"):
        section = len(names) == 1 and bool(_models_in(model.model_fields[key].annotation))
        added = f"the section [{key}]; `airsense new` writes a template" if section else ""
        return f"add {added or f'{key} to ' + (_dotted(names[:-1]) or 'the top of the file')}"
    return _FIX_BY_KEY.get(key, f"change {key} to an allowed value")


def _near_choice(detail: ErrorDetails, model: type[BaseModel]) -> str:
    """Return the choice that a misspelt word is nearest to, or "" where none is near."""
    if detail["type"] not in ("enum", "literal_error", "union_tag_invalid"):
        return ""
    choices = re.findall(r"'(\w+)'", _allowed(detail, model))
    near = difflib.get_close_matches(_got(detail).strip("'"), choices, n=1)
    return near[0] if near else ""


def _dotted(names: Sequence[str]) -> str:
    if not names:
        return ""
    if len(names) > 1 and names[1].isdigit():
        row = f"[[{names[0]}]] number {int(names[1]) + 1}"
        return " ".join((row, *names[2:]))
    return names[0] if len(names) == 1 else f"[{'.'.join(names[:-1])}] {names[-1]}"


def _line_of(text: str, names: Sequence[str]) -> str:
    """Return 'line N, ' for the key inside its section, or '' where it does not stand."""
    of_row = bool(names) and names[-1].isdigit()
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
            if (of_row and inside) or (header.group(1) == ".".join(names) and not of_row):
                return f"line {number}, "
        elif inside and names and re.match(rf"\s*[\"']?{re.escape(names[-1])}[\"']?\s*=", line):
            return f"line {number}, "
    return ""
