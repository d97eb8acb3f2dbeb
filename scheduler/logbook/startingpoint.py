"""What a plan starts from: for each level the command line, else the logbook, the page on the door, the fleet file."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from scheduler.errors import UsageError
from scheduler.logbook.cells import show_time
from scheduler.logbook.readings import Logbook, Reading
from scheduler.logbook.strangers import strangers_in_log, unreadable_lines
from scheduler.planning.record import IfAtLeast, MachinePlan, Plan
from scheduler.timegrid import FloatArray
from scheduler.units import pct_from_fraction
from scheduler.yard.agenda import Span, build_agenda
from scheduler.yard.models import Machine, Yard

#: A bank moves by a few percent in this time; an older reading is planned from with a warning, if no page on the
#: door says what it did since.
RECENT = dt.timedelta(hours=3)

#: A reading of the bank up to this old when the plan begins goes before what the page on the door expects.
FRESH = dt.timedelta(hours=12)

#: An older reading says less than the fleet file, which whoever plans has at hand: it is left aside.
USABLE = dt.timedelta(hours=48)

_HOUR = dt.timedelta(hours=1)

#: Float noise that must not turn 58 % into 57 % [%].
_NOISE_PCT = 1e-6


class Source(StrEnum):
    """Where a level comes from, in words."""

    GIVEN = "the command line"
    LOGBOOK = "the logbook"
    DOOR = "the page on the door"
    FILE = "the fleet file"


@dataclass(frozen=True)
class Known:
    """What is known besides the fleet file.

    Parameters
    ----------
    bank_pct : float or None
        Given by hand [%].
    charge_pct : mapping of str to float
        Given by hand, by machine [%].
    log : Logbook
    door : Plan or None
        The plan whose page hangs on the door.
    """

    bank_pct: float | None
    charge_pct: Mapping[str, float]
    log: Logbook
    door: Plan | None


@dataclass
class _Told:
    """Which levels come from where, and what else must be said."""

    levels: dict[Source, list[str]] = field(default_factory=lambda: {source: [] for source in Source})
    notes: list[str] = field(default_factory=list)

    def take(self, source: Source, what: str, value_pct: float, when: str = "") -> float:
        self.levels[source].append(f"{what} {value_pct:.0f} %{when}")
        return value_pct


def yard_at(yard: Yard, known: Known, begin: dt.datetime) -> tuple[Yard, tuple[str, ...]]:
    """Return the yard as it stands when a plan begins, and what to tell of where that is from.

    Where nothing was read and nothing hangs on the door, whoever plans knows where the levels are from.

    Parameters
    ----------
    yard : Yard
        As the fleet file has it.
    known : Known
    begin : datetime
        In UTC; later readings are left aside.
    """
    told = _Told()
    page = _page_at(yard, known.door, begin, told)
    level_pct = _bank_pct(yard, known, page, begin, told)
    machines = tuple(_machine_at(machine, yard, known, page, begin, told) for machine in yard.machines)
    # A reading is what it is: one below the reserve is planned from, where in a file it is a mistake.
    bank = yard.bank.model_copy(update={"level_pct": level_pct})
    found = yard.model_copy(update={"bank": bank, "machines": machines})
    told.notes += unreadable_lines(known.log, f"the logbook {known.log.path.name},")
    told.notes += strangers_in_log(known.log, yard)
    was_read = any(reading.value_pct is not None and reading.time <= begin for reading in known.log.standing)
    if known.door is None and not was_read:
        return found, tuple(told.notes)
    return found, (_sources(told), *told.notes)


def _sources(told: _Told) -> str:
    named = [
        f"from {source}: {', '.join(told.levels[source])}"
        for source in (Source.GIVEN, Source.LOGBOOK, Source.DOOR)
        if told.levels[source]
    ]
    if told.levels[Source.FILE]:
        named.append(
            f"from {Source.FILE}: {', '.join(told.levels[Source.FILE]) if not named else 'the rest'}"
        )
    return f"at the start, {'; '.join(named)}"


def _bank_pct(yard: Yard, known: Known, page: _Page | None, begin: dt.datetime, told: _Told) -> float:
    if known.bank_pct is not None:
        return told.take(Source.GIVEN, "bank", known.bank_pct)
    reading = _last_usable("the bank", known.log.of_bank, yard, begin, told)
    is_fresh = reading is not None and begin - reading.time <= FRESH
    if page is not None and not is_fresh:
        level_pct = float(max(math.floor(page.bank_pct(begin) + _NOISE_PCT), 0))
        return told.take(Source.DOOR, "bank", level_pct, " (its dull sun)")
    if reading is None or reading.value_pct is None:
        return told.take(Source.FILE, "bank", yard.bank.level_pct)
    when = f" ({show_time(reading.time, yard.site.zone)})"
    if page is not None and reading.time > page.plan.grid.start:
        # What came in since is not known, for something may be wrong; what the night took is taken off.
        lost_pct = max(page.bank_pct(reading.time) - page.bank_pct(begin), 0.0)
        when = f"{when[:-1]}, less what the page has taken since)" if lost_pct >= 1 else when
        return told.take(Source.LOGBOOK, "bank", max(reading.value_pct - lost_pct, 0.0), when)
    if begin - reading.time > RECENT:
        hours = (begin - reading.time) / _HOUR
        told.notes.append(
            f"the bank was read {hours:.0f} h before the plan begins, and will show something else by then: "
            "read it again, and note it or give --bank"
        )
    return told.take(Source.LOGBOOK, "bank", reading.value_pct, when)


def _machine_at(
    machine: Machine, yard: Yard, known: Known, page: _Page | None, begin: dt.datetime, told: _Told
) -> Machine:
    charge_pct = _charge_pct(machine, yard, known, page, begin, told)
    if page is None or machine.name not in page.machines:
        return machine.model_copy(update={"charge_pct": charge_pct})
    away_until = page.away_until.get(machine.name, machine.away_until)
    outlet = None if machine.name in page.away_until else page.outlet_of(machine.name)
    return machine.model_copy(update={"charge_pct": charge_pct, "outlet": outlet, "away_until": away_until})


def _charge_pct(
    machine: Machine, yard: Yard, known: Known, page: _Page | None, begin: dt.datetime, told: _Told
) -> float:
    if machine.name in known.charge_pct:
        return told.take(Source.GIVEN, machine.name, known.charge_pct[machine.name])
    planned = None if page is None else page.machines.get(machine.name)
    reading = _last_usable(machine.name, known.log.of_machine(machine.name), yard, begin, told)
    if reading is not None and reading.value_pct is not None:
        when = f" ({show_time(reading.time, yard.site.zone)})"
        if page is None or planned is None or reading.time <= page.plan.grid.start:
            return told.take(Source.LOGBOOK, machine.name, reading.value_pct, when)
        since_wh = page.charge_wh(planned, begin) - page.charge_wh(planned, reading.time)
        since_pct = pct_from_fraction(since_wh / machine.capacity_wh)
        charge_pct = min(max(reading.value_pct + since_pct, 0.0), 100.0)
        when = f"{when[:-1]}, and what the page has done since)" if abs(since_pct) >= 1 else when
        return told.take(Source.LOGBOOK, machine.name, charge_pct, when)
    if page is not None and planned is not None:
        charge_pct = pct_from_fraction(page.charge_wh(planned, begin) / machine.capacity_wh)
        return told.take(Source.DOOR, machine.name, min(charge_pct, 100.0))
    return told.take(Source.FILE, machine.name, machine.charge_pct)


def _last_usable(
    whose: str, readings: Sequence[Reading], yard: Yard, begin: dt.datetime, told: _Told
) -> Reading | None:
    before = [reading for reading in readings if reading.time <= begin]
    if not before:
        return None
    if begin - before[-1].time > USABLE:
        when = show_time(before[-1].time, yard.site.zone)
        told.notes.append(
            f"the last reading of {whose}, {before[-1].value_pct:g} % of {when}, is more "
            f"than {USABLE // _HOUR} h older than the plan and left aside"
        )
        return None
    return before[-1]


@dataclass(frozen=True)
class _Page:
    """The page on the door at the moment when the new plan begins.

    Attributes
    ----------
    plan : Plan
    step : int
        Of its grid, the last before that moment; -1 where the page begins just then.
    machines : dict of str to MachinePlan
    outlets : set of str
        Of the yard.
    away_until : dict of str to datetime
        Machines that are out at that moment, with their return.
    """

    plan: Plan
    step: int
    machines: dict[str, MachinePlan]
    outlets: set[str]
    away_until: dict[str, dt.datetime]

    def at(self, edges_wh: FloatArray, moment: dt.datetime) -> float:
        """Value on the last edge at or before a moment [Wh]."""
        grid = self.plan.grid
        edge = (moment - grid.start) // grid.step
        return float(edges_wh[min(max(edge, 0), grid.n_steps)])

    def bank_pct(self, moment: dt.datetime) -> float:
        """Return what the bank shows under the dull sun [%]."""
        bank = self.plan.bank
        return pct_from_fraction(self.at(bank.level_wh["dull"], moment) / bank.capacity_wh)

    def charge_wh(self, machine: MachinePlan, moment: dt.datetime) -> float:
        """Return what a machine holds; at the very moment when it goes to work, before that [Wh]."""
        due = [need.have_wh for need in machine.needs if self.plan.grid.edge(need.edge) == moment]
        return due[0] if due else self.at(machine.charge_wh, moment)

    def outlet_of(self, name: str) -> str | None:
        """Return the outlet in which the page has a machine just before that moment, if it is still there."""
        if self.step < 0:
            outlet = self.plan.plugged_at_start.get(name)
        else:
            outlet = self.machines[name].outlet[self.step] if name in self.machines else None
        return outlet if outlet in self.outlets else None


def _page_at(yard: Yard, door: Plan | None, begin: dt.datetime, told: _Told) -> _Page | None:
    """Take the page for how the yard stands, if the plan begins while the page is good."""
    if door is None:
        return None
    grid = door.grid
    if not grid.start <= begin <= grid.end:
        span = f"{show_time(grid.start, yard.site.zone)} to {show_time(grid.end, yard.site.zone)}"
        told.notes.append(
            f"the page on the door is good from {span}, the plan begins outside of that: how the yard stands "
            "is taken from the fleet file"
        )
        return None
    step = -((grid.start - begin) // grid.step) - 1
    machines = {machine.name: machine for machine in door.machines}
    outlets = {outlet.name for outlet in yard.outlets}
    page = _Page(door, step, machines, outlets, _out_at(yard, door, begin))
    told.notes.append(_plugged_in(yard, page))
    added = added_since(door, begin)
    if added:
        lines = ", ".join(f"{line.machine} into {line.outlet}" for line in added)
        told.notes.append(
            f"whether the page's ONLY IF lines were done ({lines}) is not known here and counted as not: "
            "if one was, unplug it, or plan from the fleet file with its outlet entered and without --door"
        )
    return page


def _plugged_in(yard: Yard, page: _Page) -> str:
    timed = {outlet.name for outlet in yard.outlets if outlet.timer}
    there = [
        f"{name} in {outlet}{', its timer taken to be on' if outlet in timed else ''}"
        for name in (machine.name for machine in yard.machines)
        if name not in page.away_until and (outlet := page.outlet_of(name)) is not None
    ]
    return f"plugged in at the start, as the page on the door has it: {'; '.join(there) or 'nothing'}"


def added_since(door: Plan, begin: dt.datetime) -> tuple[IfAtLeast, ...]:
    """Return the ONLY IF lines of the page's last visit before a moment: what they put in may still be there."""
    before = [visit for visit in door.visits if door.grid.edge(visit.edge) < begin]
    return before[-1].if_at_least if before else ()


def _out_at(yard: Yard, door: Plan, begin: dt.datetime) -> dict[str, dt.datetime]:
    """Return who is out at work as the plan begins, with the return, from the needs of the page's own time."""
    span = Span(now=door.grid.start, start=door.grid.start, hours=(door.grid.end - door.grid.start) / _HOUR)
    try:
        agenda = build_agenda(yard, span)
    except UsageError:
        return {}
    step = (begin - agenda.grid.start) // agenda.grid.step
    out: dict[str, dt.datetime] = {}
    for name, away in agenda.away.items():
        if step < len(away) and away[step]:
            back = next((edge for edge in range(step, len(away)) if not away[edge]), len(away))
            # A need that is due just now is the new plan's own.
            if not any(agenda.grid.edge(need.edge) == begin for need in agenda.needs[name]):
                out[name] = agenda.grid.local(back)
    return out
