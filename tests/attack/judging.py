"""What is right when a spoilt file is read: it reads, or is refused in words that say where; never anything else."""

# ruff: noqa: E501  sayings stay whole
from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from scheduler.errors import InputError, SunrosterError, UsageError
from scheduler.logbook.readings import Logbook, read_logbook
from scheduler.logbook.savedplan import read_saved_plan
from scheduler.logbook.startingpoint import Known, yard_at
from scheduler.sheet.changes import render_changes
from scheduler.studies.yearstate import read_state
from scheduler.studies.yearstudy import YearWork
from scheduler.sun.locationforecast import parse_document
from scheduler.sun.suns import build_suns
from scheduler.sun.weather import read_weather
from scheduler.yard.agenda import Span, build_agenda
from scheduler.yard.fleetfile import read_newcomers, read_yard
from scheduler.yard.notes import yard_notes
from tests.attack.originals import NOW, fleet_beside, plan_beside, prepared, yard

#: Nobody reads more, and no terminal shows it.
LONGEST_LINE = 1000
MOST_LINES = 102

#: Where a mistake stands; the rest is about the file as a whole.
PLACED = re.compile(r"(line|row) \d+(, column \d+)?( and \d+ more)?: |and \d+ more")
OF_THE_WHOLE = re.compile(
    r"the file is empty|[\d.]+ MB is no |more than \d+ (MB|rows|lines)|a binary file|not a text file|this is not a text file"
    r"|the text is UTF-16|this is text in UTF-16|not a CSV file in UTF-8|brackets nested too deep|a number with thousands"
    r"|there is nothing below the header|no JSON|no plan of format|the plan of another yard|its field .* is missing"
    r"|a plan that was changed or cut off|this is no state file|a state file that was changed|this was written for another year|wanted at least one \[\["
    r"|missing; wanted|[a-z_]+: missing; wanted|looks like a typical year|\w+ is \S+ in the hour from"
    r"|[\w ]+: wanted 8760 hours in order|[\w ]+: the place in its head is"
)


def fault_of(kind: str, path: Path) -> str | None:
    """Read a file and go on with what was read; what was wrong with that, None if nothing was."""
    try:
        told = READERS[kind](path)
    except InputError as fault:
        return _fault_in_refusal(fault)
    except UsageError as fault:
        return _fault_in_lines(str(fault).splitlines())
    except SunrosterError as fault:
        return f"{type(fault).__name__} of a file: {fault}"
    return _fault_in_lines(told)


def _fault_in_refusal(fault: InputError) -> str | None:
    if not fault.problems or str(fault) != "\n".join(
        f"{fault.path}: {problem}" for problem in fault.problems
    ):
        return f"a refusal without the file's name, or of several lines: {str(fault)[:300]!r}"
    unplaced = [text for text in fault.problems if not (PLACED.match(text) or OF_THE_WHOLE.match(text))]
    if unplaced:
        return f"says not where: {unplaced[0][:300]}"
    return _fault_in_lines(fault.problems)


def _fault_in_lines(lines: Iterable[str]) -> str | None:
    lines = list(lines)
    if len(lines) > MOST_LINES:
        return f"{len(lines)} lines are told"
    for line in lines:
        if len(line) > LONGEST_LINE:
            return f"a line of {len(line)} letters: {line[:300]!r}"
        if odd := [letter for letter in line if upsets_terminals(letter)]:
            return f"letters that upset a terminal, {odd[:5]!r} in {line[:300]!r}"
    return None


def upsets_terminals(letter: str) -> bool:
    """Whether a letter may move the cursor, end a line, turn the direction of reading, or cannot be encoded."""
    turns = unicodedata.bidirectional(letter) in {
        "LRE",
        "RLE",
        "LRO",
        "RLO",
        "PDF",
        "LRI",
        "RLI",
        "FSI",
        "PDI",
    }
    return turns or unicodedata.category(letter) in {"Cc", "Zl", "Zp", "Cs"}


def _read_fleet(path: Path) -> Iterable[str]:
    found = read_yard(path)
    agenda = build_agenda(found, Span(now=NOW))
    return (*yard_notes(found), *agenda.notes)


def _read_newcomers(path: Path) -> Iterable[str]:
    return [machine.name for machine in read_newcomers(path, fleet_beside())]


def _read_sky(path: Path) -> Iterable[str]:
    weather = read_weather(path, yard().site)
    agenda = build_agenda(yard(), Span(now=NOW, start=weather.begins, weather_end=weather.ends))
    suns = build_suns(yard(), agenda.grid, weather)
    return (weather.source, suns.source, *weather.notes)


def _read_log(path: Path) -> Iterable[str]:
    log = read_logbook(path, yard().site)
    _, notes = yard_at(yard(), Known(None, {}, log, None), NOW)
    return (*notes, *log.problems[:5])


def _read_plan(path: Path) -> Iterable[str]:
    door = read_saved_plan(path, yard())
    _, notes = yard_at(yard(), Known(None, {}, Logbook(path), door), NOW)
    return (*notes, *render_changes(door, plan_beside(), yard()).splitlines())


def _read_state(path: Path) -> Iterable[str]:
    begun, resampled = read_state(path, prepared())
    work = YearWork(prepared(), 0, _no_workers, begun=begun, resampled=resampled)
    work.do(lambda *_: None)
    work.so_far()
    return ()


def _no_workers() -> object:
    raise AssertionError


def _read_document(path: Path) -> Iterable[str]:
    try:
        parse_document(path.read_bytes(), yard().site).render_rows(yard().site)
    except ValueError as fault:
        return [str(fault)]
    return ()


READERS: Mapping[str, Callable[[Path], Iterable[str]]] = {
    "fleet": _read_fleet,
    "newcomers": _read_newcomers,
    "forecast": _read_sky,
    "TMY3": _read_sky,
    "TMY2": _read_sky,
    "EPW": _read_sky,
    "PVGIS csv": _read_sky,
    "PVGIS json": _read_sky,
    "logbook": _read_log,
    "plan": _read_plan,
    "state": _read_state,
    "document": _read_document,
}
