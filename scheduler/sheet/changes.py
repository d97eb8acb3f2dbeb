"""What changes on the page inside the door, short enough for a text message to whoever stands before it.

First who will not be ready and a bank below its reserve, whatever the page says of them. Then both plans are put into
the page's own lines, and the lines of each visit are set against each other. What is not told stands as it is printed.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from scheduler.logbook.startingpoint import added_since
from scheduler.planning.record import Plan
from scheduler.sheet import lowbank, words
from scheduler.sheet.glyphs import visible
from scheduler.sheet.page import Box, Line, visit_box, when_low
from scheduler.sheet.pagetext import line_words
from scheduler.yard.models import Yard

ADDED = "it was added"  #: how a line begins that takes an extra out again


def render_changes(door: Plan, plan: Plan, yard: Yard) -> str:
    """Say which lines of the page on the door are new, gone or changed, visit by visit.

    Parameters
    ----------
    door : Plan
        The plan whose page hangs there.
    plan : Plan
        What replaces it from its start on.
    yard : Yard
    """
    level = words.percent_of(float(plan.bank.level_wh["likely"][0]), plan.bank.capacity_wh, math.floor)
    begin = words.date_and_time(plan.grid, 0)
    lines = [
        *_not_ready(plan),
        *_bank_too_low(door, plan),
        f"changes to the page made {words.moment(door.made_at, plan.grid)}, from {begin} on, bank then at {level}.",
    ]
    lines = [f"{plan.site}: {lines[0]}", *(words.sentence(line) for line in lines[1:])]
    lines += _perhaps_added(door, plan)
    changed = [line for told in _visits(door, plan, yard) for line in told]
    lines += changed or ["Nothing changes."]
    lines.append(_until(door, plan, changed=bool(changed)))
    return "".join(f"{visible(line)}\n" for line in lines)


def _not_ready(plan: Plan) -> Iterator[str]:
    """Name every machine that must be ready and will not be, each time, then the others together."""
    lacks: dict[tuple[bool, str], list[str]] = {}
    for machine, need in words.unready(plan):
        short = words.energy(words.shortfall_wh(need), math.ceil)
        told = f"{short} short at {words.day_and_time(plan.grid, need.edge)}"
        lacks.setdefault((need.priority == "must", machine.name), []).append(told)
    musts = [name for is_must, name in lacks if is_must]
    yield from (f"{name} MUST be ready and will NOT be: {words.listed(lacks[True, name])}." for name in musts)
    others = [f"{name}, {words.listed(short)}" for (is_must, name), short in lacks.items() if not is_must]
    if others:
        yield f"will not be ready{' either' if musts else ''}: {'; '.join(others)}."


def _bank_too_low(door: Plan, plan: Plan) -> Iterator[str]:
    """Tell when the bank falls below its reserve, and what is to be done then, if the page says something else."""
    low = words.house_breaks_reserve(plan)
    if low:
        yield f"{low}."
    rule = when_low(plan)
    if rule != when_low(door):
        instead = f"the plan counts with that: {lowbank.AS_BOXES_SAY}." if low else rule
        yield f"in place of the page's rule for a bank below its reserve: {instead}"


def _perhaps_added(door: Plan, plan: Plan) -> Iterator[str]:
    """Extras of the page's last visit may be in: the new plan does not know, and they draw from the bank."""
    added = added_since(door, plan.grid.start)
    if added:
        named = words.listed([f"{line.machine} ({words.outlet_named(line.outlet)})" for line in added], "or")
        yield f"FIRST: if an ONLY IF line put in {named} at the last visit, unplug it."


def _until(door: Plan, plan: Plan, *, changed: bool) -> str:
    end = words.date_and_time(plan.grid, plan.grid.index_of(min(door.grid.end, plan.grid.end)))
    stands = "Everything else on the page stands" if changed else "The page stands"
    if plan.grid.end > door.grid.end:
        return f"{stands} until {end}, where it ends: it needs a new one by then."
    return f"{stands} until {end}, as far as this plan looks."


def _visits(door: Plan, plan: Plan, yard: Yard) -> Iterator[list[str]]:
    """Go through the visits that both look at, and those of one alone within that time."""
    begin, end = plan.grid.start, min(door.grid.end, plan.grid.end)
    old, new = (_boxes(each, yard, begin, end) for each in (door, plan))
    for moment in sorted({*old, *new}):
        heading = f"{_when(moment, plan)}:"
        if moment not in new:
            yield [f"{heading} no visit is planned any more; leave out what its box says."]
            continue
        told = list(_changes(old[moment].lines if moment in old else (), new[moment].lines))
        if moment not in old:
            told = told or ["nothing to change."]
            heading = f"{_when(moment, plan)}, a visit that the page does not have:"
        if told:
            yield [f"{heading} bank should show {new[moment].expect}.", *(f"- {line}" for line in told)]


def _boxes(plan: Plan, yard: Yard, begin: dt.datetime, end: dt.datetime) -> dict[dt.datetime, Box]:
    moments = [plan.grid.edge(visit.edge) for visit in plan.visits]
    return {
        moment: visit_box(plan, yard, index) for index, moment in enumerate(moments) if begin <= moment < end
    }


def _when(moment: dt.datetime, plan: Plan) -> str:
    return words.day_and_time(plan.grid, plan.grid.index_of(moment))


def _changes(old: Sequence[Line], new: Sequence[Line]) -> Iterator[str]:
    """Name lines that are gone first, for what they would have plugged in may be in the way."""
    before, after = ({_kind(line): line for line in lines} for lines in (old, new))
    gone = {kind: line for kind, line in before.items() if kind not in after and not _stands(line, new)}
    come = {kind: line for kind, line in after.items() if kind not in before}
    moved = {kind: there for kind in come for there in gone if _is_moved(there, kind)}
    yield from (f"LEAVE OUT: {line_words(gone[kind])}" for kind in gone if kind not in moved.values())
    for kind, line in after.items():
        if kind in moved:
            yield f"MOVED: {line_words(line)} On the page: {words.outlet_named(moved[kind].outlet)}."
        elif kind in come:
            yield f"NEW: {line_words(line)}"
        elif line_words(line) != line_words(before[kind]):
            yield f"CHANGED: {line_words(line)} On the page: {_figure(before[kind])}."


def _is_moved(there: _Kind, here: _Kind) -> bool:
    return replace(there, outlet=here.outlet) == here


@dataclass(frozen=True)
class _Kind:
    """What makes two lines the same one with another figure."""

    verb: str
    machine: str
    outlet: str
    lead: str


def _kind(line: Line) -> _Kind:
    return _Kind(line.verb, line.machine, line.outlet, "" if line.only_if is None else line.only_if[0])


def _stands(line: Line, new: Sequence[Line]) -> bool:
    """Whether a line that takes out an extra of an earlier visit must still be followed."""
    is_added = line.only_if is not None and line.only_if[0] == ADDED
    return is_added and not any(other.machine == line.machine for other in new)


def _figure(line: Line) -> str:
    """Say what the page has in place of what changed."""
    told = " ".join(filter(None, ("" if line.only_if is None else line.only_if[1], line.note)))
    return f"{told[:1].lower()}{told[1:].rstrip('.')}" if told else "without that"
