"""A mistake in a fleet file, in words: where it stands, what was found, what was wanted."""

from __future__ import annotations

import datetime as dt
import difflib
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic_core import ErrorDetails

from scheduler.yard.figures import Record
from scheduler.yard.linemap import LineMap, Path
from scheduler.yard.models import Array, Bank, HouseLoad, Inverter, Machine, Need, Outlet, Shade, Site, Visits

#: What a table is called in a message, by its key in the file.
TABLE_WORDS = {
    "arrays": "array",
    "outlets": "outlet",
    "house_loads": "house load",
    "machines": "machine",
    "needs": "need",
    "shade": "shade",
}

#: How each table is headed in the file.
HEADINGS: dict[type[Record], str] = {
    Site: "[site]",
    Array: "[[arrays]]",
    Shade: "[[arrays.shade]]",
    Bank: "[bank]",
    Inverter: "[inverter]",
    Outlet: "[[outlets]]",
    HouseLoad: "[[house_loads]]",
    Visits: "[visits]",
    Machine: "[[machines]]",
    Need: "[[machines.needs]]",
}

#: A line to write for each key that has no default.
EXAMPLES = {
    "latitude": "latitude = 36.1 # degrees north",
    "longitude": "longitude = -79.95 # degrees east, west is negative",
    "timezone": 'timezone = "America/New_York"',
    "name": 'name = "a short name for the page"',
    "panels": "panels = 6",
    "panel_w": "panel_w = 400",
    "tilt_deg": "tilt_deg = 25 # 0 is flat",
    "azimuth_deg": "azimuth_deg = 180 # clockwise from north",
    "between": 'between = ["07:00", "09:30"]',
    "lost_pct": "lost_pct = 60",
    "modules_wh": "modules_wh = [5120, 5120]",
    "reserve_pct": "reserve_pct = 25",
    "level_pct": "level_pct = 80 # what the bank shows now",
    "continuous_w": "continuous_w = 3000",
    "kind": 'kind = "ac" or kind = "dc"',
    "watts": "watts = 60",
    "times": 'times = ["07:00", "12:00", "17:00"]',
    "ready_by": 'ready_by = "07:00" or ready_by = "2027-06-09 07:00"',
    "charger_w": "charger_w = 650 # drawn at the wall",
    "charge_pct": "charge_pct = 40 # what the battery holds now",
}

_UNIT_WORDS = (
    ("_pct_per_c", "percent per degree C"),
    ("_w_per_c", "watts per degree C"),
    ("_per_h", "times an hour"),
    ("_per_kwh", "litres per kWh"),
    ("_m3", "cubic metres"),
    ("_wh_per_km", "Wh per km"),
    ("_per_km", "Wh per km"),
    ("_per_mile", "Wh per mile"),
    ("_wh", "Wh"),
    ("_mm2", "square millimetres"),
    ("_m2", "square metres"),
    ("_kg", "kilograms"),
    ("_n", "newtons"),
    ("_m_s", "metres a second"),
    ("_pct", "percent"),
    ("_deg", "degrees"),
    ("_km", "km"),
    ("_miles", "miles"),
    ("_ah", "Ah"),
    ("_h", "hours"),
    ("_w", "watts"),
    ("_v", "volts"),
    ("_a", "amperes"),
    ("_c", "degrees C"),
    ("_m", "metres"),
)

_BOUND_WORDS = {
    "greater_than": ("more than", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("less than", "lt"),
    "less_than_equal": ("at most", "le"),
}

_NUMBER_IN_TEXT = re.compile(r"\s*(-?\d+(?:\.\d+)?)\s*[A-Za-z%]*\s*")


@dataclass(frozen=True)
class Mistake:
    """What is wrong with the item that `path` leads to; `text` is finished but for the place."""

    path: Path
    text: str


def render_mistakes(mistakes: Iterable[Mistake], data: Mapping[str, Any], lines: LineMap) -> list[str]:
    """Return one line a mistake, with its place in the file, in the file's order."""
    told = sorted(((lines.line_of(mistake.path), mistake) for mistake in mistakes), key=lambda pair: pair[0])
    return list(dict.fromkeys(_render(mistake, line, data) for line, mistake in told))


def _render(mistake: Mistake, line: int, data: Mapping[str, Any]) -> str:
    place = [f"line {line}"] if line else []
    return ": ".join((*place, *name_place(mistake.path, data), mistake.text))


def name_place(path: Path, data: Mapping[str, Any]) -> list[str]:
    """Name the table and the key that a path leads to: ``['machine "cart", need 2', "ready_by"]``."""
    tables: list[str] = []
    keys: list[str] = []
    at: Any = data
    rest = list(path)
    while rest:
        step = rest.pop(0)
        at = _inside(at, step)
        if not keys and step in TABLE_WORDS and rest and isinstance(rest[0], int):
            number = rest.pop(0)
            at = _inside(at, number)
            tables.append(_name_table(str(step), int(number), at))
        elif not keys and len(path) > 1 and step == path[0]:
            tables.append(str(step))
        elif isinstance(step, int):
            keys[-1:] = [f"{keys[-1]}, number {step + 1}"]
        else:
            keys[:] = [".".join((*keys, str(step)))]
    return [part for part in (", ".join(tables), *keys) if part]


def _inside(table: Any, step: str | int) -> Any:
    try:
        return table[step]
    except (KeyError, IndexError, TypeError):
        return None


def _name_table(kind: str, number: int, table: Any) -> str:
    name = table.get("name") if isinstance(table, dict) else None
    return f"{TABLE_WORDS[kind]} {quoted(name) if isinstance(name, str) else number + 1}"


def quoted(text: str) -> str:
    """Text in quotes, with what could upset a terminal written out."""
    return json.dumps(text, ensure_ascii=False)


def show_found(value: Any) -> str:
    """Return a value as the file has it, short."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}" if value else "an empty list"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, str):
        return quoted(value if len(value) <= 40 else value[:40] + "...")
    return str(value)


def tell_error(error: ErrorDetails, model: type[Record]) -> list[Mistake]:
    """Turn one error of pydantic into mistakes, their paths counted from the table that `model` describes."""
    # Tags of a union stand in brackets: they are no part of the file.
    path = tuple(step for step in error["loc"] if not str(step).startswith("("))
    if error["type"] == "value_error":
        problems = str(error["ctx"]["error"]).split("\n")
        return [_tell_own(problem, path, error["input"], model) for problem in problems]
    return [Mistake(path, _tell_pydantic(error, path, model))]


def _tell_own(text: str, path: Path, found: Any, model: type[Record]) -> Mistake:
    """Place a message of our own validators: on the key that it begins with, else on the checked value."""
    key, colon, rest = text.partition(": ")
    if colon and key in model.model_fields:
        return Mistake((*path, key), rest)
    return Mistake(path, f"{text}, found {show_found(found)}" if path else text)


def _tell_pydantic(error: ErrorDetails, path: Path, model: type[Record]) -> str:
    kind = error["type"]
    key = str(next((step for step in reversed(path) if isinstance(step, str)), ""))
    found = f"found {show_found(error['input'])}"
    if kind == "extra_forbidden":
        return f"unknown key, {found}; {suggest_key(key, model)}"
    if kind == "missing":
        if path and isinstance(path[-1], int):
            return "missing; wanted a list of two"
        example = EXAMPLES.get(key)
        return f"missing; wanted for instance {example}" if example else "missing"
    return f"wanted {_wanted(error, key)}, {found}{_hint(error)}"


def _wanted(error: ErrorDetails, key: str) -> str:
    kind = error["type"]
    context = error.get("ctx", {})
    unit = next((word for ending, word in _UNIT_WORDS if key.endswith(ending)), "")
    if kind in _BOUND_WORDS:
        word, name = _BOUND_WORDS[kind]
        return f"{word} {context[name]:g} {unit}".rstrip()
    if kind == "literal_error":
        return f"one of {context['expected'].replace(' or ', ', ')}".replace("'", '"')
    if kind == "too_short":
        return f"at least {_count(context['min_length'])}"
    if kind == "too_long":
        return f"a list of {context['max_length']}"
    if key.endswith("_awg"):
        return 'a wire gauge such as 10 or "1/0"'
    return {
        "float_type": f"a number ({unit})" if unit else "a number",
        "finite_number": f"a finite number ({unit})" if unit else "a finite number",
        "int_type": "a whole number",
        "int_from_float": "a whole number",
        "bool_type": "true or false, without quotes",
        "string_type": "text in quotes",
        "tuple_type": "a list in square brackets",
        "dict_type": "a table",
    }.get(kind, "something else here")


def _count(number: int) -> str:
    return "one" if number == 1 else str(number)


def _hint(error: ErrorDetails) -> str:
    if error["type"] in ("float_type", "int_type") and isinstance(error["input"], str):
        number = _NUMBER_IN_TEXT.fullmatch(error["input"])
        return f"; write {number[1]}: no quotes, the unit is in the key's name" if number else ""
    if error["type"] == "literal_error":
        wanted = re.findall(r"'(\w+)'", error["ctx"]["expected"])
        near = difflib.get_close_matches(str(error["input"]).strip().lower(), wanted, 1, 0.6)
        return f"; did you mean {quoted(near[0])}?" if near else ""
    return ""


def suggest_key(key: str, model: type[Record]) -> str:
    """Return the nearest key of the same table, or the table that the key belongs to."""
    homes = [heading for table, heading in HEADINGS.items() if key in table.model_fields]
    near = difflib.get_close_matches(key.strip().lower(), model.model_fields, 1, 0.8 if homes else 0.6)
    if near:
        return f"did you mean {quoted(near[0])}?"
    if homes:
        return f"it belongs to {' or '.join(homes)}; a key stands below the heading of its table"
    return f"known here: {', '.join(model.model_fields)}"
