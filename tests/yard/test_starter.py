"""The starter file: every key, its default and a plan that works as it stands."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path
from typing import Any

import pytest
import tomli

from scheduler.yard.agenda import Span, build_agenda
from scheduler.yard.figures import Record
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.mistakes import HEADINGS
from scheduler.yard.models import HouseLoad, Machine, Need, Shade
from scheduler.yard.starter import starter_text

FLEETS = Path(__file__).parents[2] / "fleets"
MODELS = {heading: model for model, heading in HEADINGS.items()}


def _shown() -> dict[type[Record], dict[str, list[tuple[bool, Any, str]]]]:
    """By table and key: whether it is commented out, its value, and the explanation above it."""
    shown: dict[type[Record], dict[str, list[tuple[bool, Any, str]]]] = {model: {} for model in HEADINGS}
    table: type[Record] | None = None
    words: list[str] = []
    is_new = True
    for line in starter_text().split("\n"):
        if line.lstrip("#") in MODELS:
            table = MODELS[line.lstrip("#")]
            continue
        match = re.fullmatch(r"(#?)(\w+ = .+)", line)
        if line.startswith("# "):
            words = [line[2:]] if is_new else [*words, line[2:]]
            is_new = False
        elif match and table is not None:
            is_new = True
            ((key, value),) = tomli.loads(match[2]).items()
            shown[table].setdefault(key, []).append((bool(match[1]), value, " ".join(words)))
    return shown


SHOWN = _shown()
FIELDS = [
    (model, key) for model in HEADINGS for key in model.model_fields if key != "needs" and key != "shade"
]


def test_the_starter_reads_as_it_stands_and_asks_for_something() -> None:
    yard = read_yard(FLEETS / "starter.toml")
    agenda = build_agenda(yard, Span(now=dt.datetime(2027, 6, 8, 10, tzinfo=dt.UTC)))
    assert agenda.visits
    assert sum(len(needs) for needs in agenda.needs.values()) >= 3
    assert agenda.duties
    assert not agenda.notes


def test_the_starter_beside_the_demo_is_the_one_in_the_package() -> None:
    assert (FLEETS / "starter.toml").read_bytes() == starter_text().encode("utf-8")


@pytest.mark.parametrize(("model", "key"), FIELDS, ids=lambda value: getattr(value, "__name__", value))
def test_the_starter_shows_and_explains_every_key_under_its_heading(model: type[Record], key: str) -> None:
    assert key in SHOWN[model]
    for _, _, words in SHOWN[model][key]:
        assert len(words) >= 20


@pytest.mark.parametrize(("model", "key"), FIELDS, ids=lambda value: getattr(value, "__name__", value))
def test_a_key_left_commented_out_may_be_left_out_and_a_needed_one_may_not(
    model: type[Record], key: str
) -> None:
    field = model.model_fields[key]
    is_set = any(not is_commented for is_commented, _, _ in SHOWN[model][key])
    assert is_set or not field.is_required() or model is Shade  # whose heading is commented out with it


@pytest.mark.parametrize(
    ("model", "key"),
    [
        (model, key)
        for model, key in FIELDS
        if model.model_fields[key].default is not None and not model.model_fields[key].is_required()
    ],
    ids=lambda value: getattr(value, "__name__", value),
)
def test_a_default_is_shown_as_it_is_with_its_reason(model: type[Record], key: str) -> None:
    default = model.model_fields[key].default
    commented = [(value, words) for is_commented, value, words in SHOWN[model][key] if is_commented]
    for value, words in commented:
        assert (tuple(value) if isinstance(value, list) else value) == default
        assert "Default" in words
    if not commented:
        words = SHOWN[model][key][0][2]
        assert re.search(rf'Default "?{re.escape(_as_written(default))}"?[.:]', words), words


def _as_written(default: Any) -> str:
    if isinstance(default, bool):
        return str(default).lower()
    return f"{default:g}" if isinstance(default, float) else str(default)


@pytest.mark.parametrize(
    ("model", "key"), [(model, key) for model, key in FIELDS if model.model_fields[key].default is None]
)
def test_where_there_is_no_default_the_starter_says_what_leaving_it_out_means(
    model: type[Record], key: str
) -> None:
    told = " ".join(words for _, _, words in SHOWN[model][key])
    assert re.search(
        r"[Ll]eft out|[Nn]o defaults|ONE of these|one or the other|or watt-hours at once|in miles|as energy|"
        r"as hours|a charge that|A load that switches|volts and ampere-hours",
        told,
    ), told


#: Ways of saying what an active line says already: together they are a mistake.
DRYING = ("wanted_rh_pct", "room_m3", "air_changes_per_h", "litres_per_kwh")
OTHER_WAYS = {
    Machine: {"battery_wh"},
    HouseLoad: set(DRYING),
    Need: {"distance_miles", "wh_per_mile", "hours", "draw_w", "energy_wh", "charge_pct"},
}
SWITCHED_OFF = [
    (model, key)
    for model, key in FIELDS
    if key not in OTHER_WAYS.get(model, ()) and all(is_commented for is_commented, _, _ in SHOWN[model][key])
]


@pytest.mark.parametrize(("model", "key"), SWITCHED_OFF, ids=lambda value: getattr(value, "__name__", value))
def test_every_key_that_is_commented_out_works_when_it_is_switched_on(
    model: type[Record], key: str, tmp_path: Path
) -> None:
    keys = tuple(model.model_fields) if model is Shade else (key,)
    table: type[Record] | None = None
    lines = starter_text().split("\n")
    for number, line in enumerate(lines):
        if line.lstrip("#") in MODELS:
            table = MODELS[line.lstrip("#")]
        is_meant = line.startswith(tuple(f"#{each} = " for each in keys)) or line == f"#{HEADINGS[model]}"
        if table is model and is_meant:
            lines[number] = line.removeprefix("#")
    assert lines != starter_text().split("\n")
    path = tmp_path / "yard.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    read_yard(path)


def test_a_wanted_humidity_works_in_the_place_of_hours(tmp_path: Path) -> None:
    kept = [line for line in starter_text().split("\n") if not line.startswith("hours_per_day = ")]
    switched = [line.removeprefix("#") if line[1:].startswith(DRYING) else line for line in kept]
    path = tmp_path / "yard.toml"
    path.write_text("\n".join(switched), encoding="utf-8")
    (dryer,) = (load for load in read_yard(path).house_loads if not load.always_on)
    assert (dryer.wanted_rh_pct, dryer.room_m3) == (55.0, 60.0)
    assert dryer.most_hours_per_day == 8.0
