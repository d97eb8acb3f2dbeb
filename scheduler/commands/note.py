"""What ``sunroster note`` does, free of the command line: readings asked back, written down, or taken back."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from scheduler.errors import UsageError
from scheduler.logbook.append import append_lines, reading_cells, withdrawal_cells
from scheduler.logbook.cells import MOST_SHOWN_PCT, parse_number, show_time
from scheduler.logbook.doubts import doubts_about
from scheduler.logbook.readings import Logbook, Reading, logbook_path
from scheduler.logbook.strangers import unreadable_lines
from scheduler.sheet import lowbank
from scheduler.yard.clock import check_clock, parse_minute_of_day, parse_moment
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Yard


@dataclass(frozen=True)
class NoteRequest:
    """What was asked for on the command line; `now` is the clock, in UTC."""

    fleet: Path
    now: dt.datetime
    bank_pct: float | None = None
    machines: tuple[str, ...] = ()
    sky: str | None = None
    remark: str | None = None
    at: str | None = None
    who: str = ""
    sure: bool = False


@dataclass(frozen=True)
class Noted:
    """What was done, a line each, and beside it how the time was taken and what in the logbook cannot be read."""

    done: tuple[str, ...]
    beside: tuple[str, ...]


def note_readings(request: NoteRequest) -> Noted:
    """Write the readings down; they are on the disk when this returns.

    Raises
    ------
    UsageError
        For readings that cannot be, or that can hardly be true and are not said to be `sure`.
    OutputError, LogbookError, FleetFileError
    """
    yard = read_yard(request.fleet)
    readings = tuple(_readings(request, yard))
    if not readings:
        msg = f"nothing to note: say what the bank shows, such as: sunroster note {request.fleet} --bank 62"
        raise UsageError(msg)

    def build(log: Logbook) -> list[tuple[str, ...]]:
        if not request.sure:
            _ask_back(readings, log, yard, request.now)
        return [tuple(reading_cells(reading, yard.site.zone)) for reading in readings]

    path = logbook_path(request.fleet)
    before = append_lines(path, yard.site, build)
    noted = (f"noted: {_told(reading, yard)}" for reading in readings)
    return Noted((*noted, *_below_reserve(readings, before, yard)), (*_about_clock(request, yard), *_problems(before)))


def _below_reserve(readings: tuple[Reading, ...], before: Logbook, yard: Yard) -> Iterator[str]:
    """Say at once what the page says for so little in the bank, unless a later reading stands."""
    for reading in readings:
        later = any(other.time > reading.time for other in before.of_bank)
        if reading.what == "bank" and reading.value_pct is not None and not later:
            yield from filter(None, [lowbank.warning(reading.value_pct, yard.bank.reserve_pct)])


def undo_last(request: NoteRequest) -> Noted:
    """Take back the last reading that stands, by a line of its own.

    Raises
    ------
    UsageError
        If there is none, or readings are given too.
    OutputError, LogbookError, FleetFileError
    """
    yard = read_yard(request.fleet)
    path = logbook_path(request.fleet)
    if any(_readings(request, yard)):
        msg = "--undo takes the last reading back and notes none: give it alone, then note the right one"
        raise UsageError(msg)
    if not path.exists():
        raise UsageError(_nothing_left(path))
    taken_back: list[Reading] = []

    def build(log: Logbook) -> list[tuple[str, ...]]:
        last = log.last_written
        if last is None:
            raise UsageError(_nothing_left(path))
        taken_back.append(last)
        return [tuple(withdrawal_cells(last, yard.site.zone, request.who))]

    before = append_lines(path, yard.site, build)
    done = tuple(
        f"taken back: {_told(reading, yard)}; its line {reading.line} stays in {path}, marked by one more"
        for reading in taken_back
    )
    return Noted(done, _problems(before))


def _nothing_left(path: Path) -> str:
    return f"--undo: no reading stands in {path}; there is nothing to take back"


def _problems(log: Logbook) -> tuple[str, ...]:
    return tuple(unreadable_lines(log, f"{log.path}:"))


def _readings(request: NoteRequest, yard: Yard) -> Iterator[Reading]:
    time = _parse_at(request.at, request.now, yard)
    if request.bank_pct is not None:
        _check_pct(f"--bank {request.bank_pct:g}", request.bank_pct)
        value_pct = min(request.bank_pct, 100.0)
        yield Reading(time, "bank", "", value_pct, f"{request.bank_pct:g}", request.who, 0)
    for text in request.machines:
        name, shown_pct = parse_machine_reading("--machine", text, yard)
        _check_pct(f'--machine "{text}"', shown_pct)
        yield Reading(time, "machine", name, min(shown_pct, 100.0), f"{shown_pct:g}", request.who, 0)
    if request.sky is not None:
        from scheduler.sun.skyterms import parse_seen

        if not parse_seen(request.sky, time, time, yard.site):
            msg = f'--sky "{request.sky}": that has not come yet; say what the sky was like, such as "am: fair"'
            raise UsageError(msg)
        yield Reading(time, "sky", "", None, " ".join(request.sky.split()), request.who, 0)
    if request.remark is not None and request.remark.strip():
        yield Reading(time, "note", "", None, request.remark.strip(), request.who, 0)


def _check_pct(said: str, shown_pct: float) -> None:
    if not 0 <= shown_pct <= MOST_SHOWN_PCT:
        msg = f"{said}: no display shows that; wanted a percent from 0 to 100"
        raise UsageError(msg)


def parse_machine_reading(flag: str, text: str, yard: Yard) -> tuple[str, float]:
    """Name and percent of ``cart=40``.

    Raises
    ------
    UsageError
        If it is something else, or no machine has that name.
    """
    name, separator, value = text.rpartition("=")
    name = name.strip()
    known = [machine.name for machine in yard.machines]
    try:
        shown_pct = parse_number(value) if separator else None
    except ValueError:
        shown_pct = None
    if shown_pct is None:
        example = f"{known[0] if known else 'cart'}=40"
        msg = f'{flag} "{text}": wanted a machine and its percent, such as {flag} "{example}"'
        raise UsageError(msg)
    if name not in known:
        near = difflib.get_close_matches(name, known, 1, 0.5)
        hint = f'did you mean "{near[0]}"?' if near else f"there are: {', '.join(known) or 'none'}"
        msg = f'{flag} "{text}": no machine of that name; {hint}'
        raise UsageError(msg)
    return name, shown_pct


def _parse_at(text: str | None, now: dt.datetime, yard: Yard) -> dt.datetime:
    """Moment in UTC of a time of today or a date and time, to the minute; now if nothing is given."""
    if text is None:
        return _on_todays_clock(now, yard).astimezone(dt.UTC)
    moment = _as_said(text, now, yard)
    return (moment if moment.tzinfo else moment.replace(tzinfo=yard.site.zone)).astimezone(dt.UTC)


def _as_said(text: str, now: dt.datetime, yard: Yard) -> dt.datetime:
    """Return what --at says, on the site's clock unless it has an offset."""
    try:
        minute = parse_minute_of_day(text)
    except ValueError:
        try:
            return parse_moment(text)
        except ValueError as fault:
            msg = f'--at "{text}": {fault}, or a time of today such as "12:30"'
            raise UsageError(msg) from fault
    midnight = dt.datetime.combine(_on_todays_clock(now, yard).date(), dt.time())
    return midnight + dt.timedelta(minutes=minute)


def _about_clock(request: NoteRequest, yard: Yard) -> Iterator[str]:
    """Say how a time was taken that the site's clock skips or shows twice, and how to mean the other one."""
    said = None if request.at is None else _as_said(request.at, request.now, yard)
    if said is None or said.tzinfo is not None:
        return
    taken, other = (
        said.replace(tzinfo=yard.site.zone, fold=fold).astimezone(dt.UTC).astimezone(yard.site.zone) for fold in (0, 1)
    )
    if taken.utcoffset() == other.utcoffset():
        return
    how = "shows that twice" if taken.replace(tzinfo=None) == said else "skips that"
    yield (
        f'--at "{request.at}": the clock {how} on that day; taken is {_with_offset(taken)}; '
        f'if it was {_with_offset(other)}: --undo, then --at "{_with_offset(other)}"'
    )


def _with_offset(local: dt.datetime) -> str:
    return local.replace(tzinfo=dt.timezone(local.utcoffset() or dt.timedelta())).isoformat(" ", "minutes")


def _on_todays_clock(now: dt.datetime, yard: Yard) -> dt.datetime:
    check_clock(now, "--at")
    return now.astimezone(yard.site.zone).replace(second=0, microsecond=0)


def _ask_back(readings: tuple[Reading, ...], log: Logbook, yard: Yard, now: dt.datetime) -> None:
    doubts = [
        f"{_told(reading, yard)}: {doubt}"
        for reading in readings
        for doubt in doubts_about(reading, log, yard, now)
    ]
    if doubts:
        asked = "Nothing was noted. Look once more; if it is so, say it again with --sure."
        raise UsageError("\n".join([*doubts, asked]))


def _told(reading: Reading, yard: Yard) -> str:
    when = _when(reading.time, yard)
    by = f", {reading.who}" if reading.who else ""
    if reading.what == "sky":
        return f"sky {reading.text}, {when}{by}"
    if reading.what == "note":
        return f'"{reading.text}", {when}{by}'
    return f"{reading.machine or 'bank'} {reading.text.removesuffix('%').strip()} %, {when}{by}"


def _when(moment: dt.datetime, yard: Yard) -> str:
    """Show a moment on the site's clock, with the offset if the clock shows it twice."""
    local = moment.astimezone(yard.site.zone)
    is_shown_twice = local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()
    return f"{show_time(moment, yard.site.zone)}{_with_offset(local)[-6:] if is_shown_twice else ''}"
