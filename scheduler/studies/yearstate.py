"""A year's state file: what has been lived so far, so that a year that was stopped goes on to the last digit.

Numbers are written as Python writes them, which reads back to the same bits. A fingerprint of everything that the
result depends on stands in the file; one that belongs to other files, flags or another version is refused, and so is
one whose content is not what was written.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

from scheduler import __version__
from scheduler.errors import InputError
from scheduler.studies.living import Tally, YardState
from scheduler.studies.year import Bookmark, PreparedYear
from scheduler.studies.yearrecord import DayLived, NeedLived, Readiness
from scheduler.studies.yearsums import MonthCount, YearSums

FORMAT = "sunroster.year-state/1"

#: A thousand resampled years of a large yard are a third of it.
MOST_BYTES = 64_000_000


def fingerprint(prepared: PreparedYear) -> str:
    """Return what tells one year from another: yard, sun, spread, settings and version."""
    suns = prepared.suns
    known = hashlib.sha256()
    for text in (
        __version__,
        prepared.yard.model_dump_json(),
        repr(prepared.settings),
        repr(prepared.spread),
    ):
        known.update(text.encode())
    for series in (suns.true_w, suns.rungs_w, suns.clearness_fraction, suns.shed_temp_c):
        known.update(series.tobytes())
    return known.hexdigest()


def render_state(prepared: PreparedYear, bookmark: Bookmark | None, resampled: tuple[YearSums, ...]) -> bytes:
    """Return a state file's content: how far the year has come, and the resampled years that are done."""
    state: dict[str, Any] = {
        "format": FORMAT,
        "of": fingerprint(prepared),
        "year": None if bookmark is None else _from_bookmark(bookmark),
        "resampled": [asdict(sums) for sums in resampled],
    }
    return json.dumps({**state, "content": _content(state)}, separators=(",", ":"), default=str).encode()


def _content(state: dict[str, Any]) -> str:
    """What tells a state from one in which somebody changed a figure."""
    written = json.dumps(state, separators=(",", ":"), default=str)
    return hashlib.sha256(written.encode()).hexdigest()


def read_state(path: Path, prepared: PreparedYear) -> tuple[Bookmark | None, tuple[YearSums, ...]]:
    """Read a state file.

    Raises
    ------
    InputError
        If it cannot be read, or was written for another year.
    """
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
        state = json.loads(content) if len(content) <= MOST_BYTES else {}
        told = state["format"], state["of"]
    except (OSError, ValueError, LookupError, TypeError, RecursionError) as fault:
        raise InputError(path, ["this is no state file of a year; give a new name to begin one"]) from fault
    if told != (FORMAT, fingerprint(prepared)):
        problem = (
            "this was written for another year: other fleet, weather, flags or version; "
            "give the same ones, or a new name to begin anew"
        )
        raise InputError(path, [problem])
    try:
        if state.pop("content") != _content(state):
            msg = "not as it was written"
            raise ValueError(msg)
        year = state["year"]
        resampled = tuple(_to_sums(sums) for sums in state["resampled"])
        return None if year is None else _to_bookmark(year), resampled
    except (AttributeError, ValueError, LookupError, TypeError) as fault:
        raise InputError(
            path, ["a state file that was changed or cut off; give a new name to begin anew"]
        ) from fault


def _from_bookmark(bookmark: Bookmark) -> dict[str, Any]:
    state = asdict(bookmark.state)
    state["already_run"] = [[*key, steps] for key, steps in bookmark.state.already_run.items()]
    return {
        "edge": bookmark.edge,
        "planning_s": bookmark.planning_s,
        "state": state,
        "tally": asdict(bookmark.tally),
        "days": [asdict(day) for day in bookmark.days],
    }


def _to_bookmark(year: dict[str, Any]) -> Bookmark:
    state = dict(year["state"])
    state["already_run"] = {(load, first): steps for load, first, steps in state["already_run"]}
    state["timer"] = [timer and tuple(timer) for timer in state["timer"]]
    tally = {**year["tally"], "needs": [NeedLived(**need) for need in year["tally"]["needs"]]}
    return Bookmark(
        edge=year["edge"],
        state=YardState(**state),
        tally=Tally(**tally),
        days=tuple(_to_day(day) for day in year["days"]),
        planning_s=year["planning_s"],
    )


def _to_day(day: dict[str, Any]) -> DayLived:
    values = {one.name: _tupled(day[one.name]) for one in fields(DayLived)}
    values["date"] = dt.date.fromisoformat(day["date"])
    values["needs"] = tuple(NeedLived(**need) for need in day["needs"])
    return DayLived(**values)


def _to_sums(sums: dict[str, Any]) -> YearSums:
    counts = tuple(
        MonthCount(**{**count, "readiness": Readiness(**count["readiness"])}) for count in sums["counts"]
    )
    return YearSums(**{**sums, "counts": counts})


def _tupled(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value
