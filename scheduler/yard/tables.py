"""Checking a fleet file table by table, so that a mistake in one hides none in another."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar, get_args

from pydantic import ValidationError

from scheduler.yard.figures import Record
from scheduler.yard.linemap import Path
from scheduler.yard.mistakes import HEADINGS, Mistake, quoted, show_found, suggest_key, tell_error
from scheduler.yard.models import Array, Bank, HouseLoad, Inverter, Machine, Outlet, Site, Visits, Yard

AnyRecord = TypeVar("AnyRecord", bound=Record)

#: Errors told of one table; a table with more is no fleet file.
MOST_TOLD = 100

_SINGLE: dict[str, type[Record]] = {"site": Site, "bank": Bank, "inverter": Inverter, "visits": Visits}
_LISTED: dict[str, type[Record]] = {
    "arrays": Array,
    "outlets": Outlet,
    "house_loads": HouseLoad,
    "machines": Machine,
}


@dataclass(frozen=True)
class Tables:
    """What could be read of each table; None stands where a table is missing or has mistakes."""

    single: dict[str, Record | None]
    listed: dict[str, tuple[Record | None, ...]]

    def one(self, kind: type[AnyRecord]) -> AnyRecord | None:
        """Return the sound table of this kind, if it is sound."""
        return next((table for table in self.single.values() if isinstance(table, kind)), None)

    def sound(self, kind: type[AnyRecord]) -> Iterator[tuple[Path, AnyRecord]]:
        """Yield the sound tables of a list with their paths."""
        for key, rows in self.listed.items():
            for number, row in enumerate(rows):
                if isinstance(row, kind):
                    yield (key, number), row

    def all_sound(self, key: str) -> bool:
        """Whether the list holds something and every table of it is sound."""
        return bool(self.listed[key]) and None not in self.listed[key]


def read_tables(data: Mapping[str, Any], mistakes: list[Mistake]) -> Tables:
    """Check every table by itself; what is wrong is added to `mistakes`."""
    for key, value in data.items():
        if key not in Yard.model_fields:
            mistakes.append(Mistake((key,), _tell_unknown(key, value)))
    single = {key: _read_single(key, data, mistakes) for key in _SINGLE}
    listed = {key: _read_listed(key, data, mistakes) for key in _LISTED}
    return Tables(single, listed)


def _tell_unknown(key: str, value: Any) -> str:
    near = suggest_key(key, Yard)
    return (
        f"unknown {'table' if isinstance(value, dict | list) else f'key, found {show_found(value)}'}; {near}"
    )


def _read_single(key: str, data: Mapping[str, Any], mistakes: list[Mistake]) -> Record | None:
    model = _SINGLE[key]
    if key not in data:
        needed = ", ".join(name for name, field in model.model_fields.items() if field.is_required())
        mistakes.append(Mistake((key,), f"missing; wanted a table {HEADINGS[model]} with {needed}"))
        return None
    value = data[key]
    if isinstance(value, list) and len(value) == 1:
        mistakes.append(Mistake((key,), f"found [[{key}]], wanted {HEADINGS[model]} with single brackets"))
        value = value[0]
    return read_record(model, value, (key,), mistakes)


def _read_listed(key: str, data: Mapping[str, Any], mistakes: list[Mistake]) -> tuple[Record | None, ...]:
    model = _LISTED[key]
    rows = _rows(data.get(key, []), model, (key,), mistakes)
    is_told = any(mistake.path == (key,) for mistake in mistakes)
    if not rows and Yard.model_fields[key].is_required() and not is_told:
        mistakes.append(Mistake((key,), f"missing; wanted at least one {HEADINGS[model]}"))
    return tuple(read_record(model, row, (key, number), mistakes) for number, row in enumerate(rows))


def _rows(value: Any, model: type[Record], path: Path, mistakes: list[Mistake]) -> list[Any]:
    """Return the tables of a list; one table where a list is wanted is told, and read as a list of one."""
    if isinstance(value, list):
        return value
    mistakes.append(
        Mistake(path, f"found {show_found(value)}, wanted {HEADINGS[model]} with double brackets for each")
    )
    return [value] if isinstance(value, dict) else []


def read_record(model: type[AnyRecord], value: Any, path: Path, mistakes: list[Mistake]) -> AnyRecord | None:
    """Check one table and the lists of tables in it; None if anything is wrong with it.

    The table is checked without its lists first, then once with each sound item of them: so a mistake in one
    item hides neither those of the others nor those of the table.
    """
    if not isinstance(value, dict):
        mistakes.append(Mistake(path, f"wanted a table {HEADINGS[model]}, found {show_found(value)}"))
        return None
    told = len(mistakes)
    own: dict[str, Any] = dict(value)
    inner: dict[str, tuple[Record | None, ...]] = {}
    for key, item_model in _lists_of_tables(model):
        if key in value:
            rows = _rows(value[key], item_model, (*path, key), mistakes)
            inner[key] = tuple(
                read_record(item_model, row, (*path, key, number), mistakes)
                for number, row in enumerate(rows)
            )
            own[key] = ()
    if _validate(model, own, path, mistakes) is None:
        return None
    for key, items in inner.items():
        for number, item in enumerate(items):
            if item is not None:
                _validate(model, {**own, key: (item,)}, (*path, key, number), mistakes)
    return None if len(mistakes) > told else model.model_validate({**own, **inner})


def _lists_of_tables(model: type[Record]) -> Iterator[tuple[str, type[Record]]]:
    for key, field in model.model_fields.items():
        item = next(iter(get_args(field.annotation)), None)
        if isinstance(item, type) and issubclass(item, Record):
            yield key, item


def _validate(
    model: type[AnyRecord], value: dict[str, Any], path: Path, mistakes: list[Mistake]
) -> AnyRecord | None:
    try:
        return model.model_validate(value)
    except ValidationError as fault:
        for error in fault.errors(include_url=False)[:MOST_TOLD]:
            mistakes.extend(
                Mistake((*path, *mistake.path), mistake.text) for mistake in tell_error(error, model)
            )
        return None


def read_names(data: Mapping[str, Any], key: str) -> list[tuple[Path, str]]:
    """Return the names in a list of tables, sound or not, with the path of each; `count` makes several."""
    names: list[tuple[Path, str]] = []
    rows = data.get(key)
    for number, row in enumerate(rows if isinstance(rows, list) else []):
        name = row.get("name") if isinstance(row, dict) else None
        if isinstance(name, str):
            count = row.get("count", 1) if key == "machines" else 1
            names.extend(((key, number, "name"), each) for each in numbered(name.strip(), count))
    return names


def numbered(name: str, count: Any) -> tuple[str, ...]:
    """Return "name 1" to "name 3" for a count of 3, the name itself for one."""
    if not isinstance(count, int) or not 1 < count < MOST_TOLD:
        return (name,)
    return tuple(f"{name} {number}" for number in range(1, count + 1))


def show_names(names: list[str]) -> str:
    """Names in quotes, the first few of them."""
    shown = ", ".join(quoted(name) for name in names[:6])
    return shown if len(names) <= 6 else f"{shown} and {len(names) - 6} more"
