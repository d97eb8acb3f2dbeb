"""From a yard, its weather, the plans that hung on the door and its logbook to what was expected of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from scheduler.errors import UsageError
from scheduler.logbook.chargers import carry_on, chargers_by_plans, fill_from_notes, noted_of, steps_in_plan
from scheduler.logbook.expectation import Expectation, Reading
from scheduler.logbook.readings import Logbook
from scheduler.planning.record import Plan
from scheduler.sun.drying import run_hours
from scheduler.sun.shed import drying_over
from scheduler.sun.skyterms import SkySpell, parse_seen
from scheduler.sun.suns import ThreeSuns, build_suns, clear_power_w
from scheduler.sun.weather import Weather
from scheduler.timegrid import QUARTER, FloatArray, Grid, ceil_to, floor_to, moment_on_clock, nearest_to
from scheduler.yard.agenda import Agenda, Span, build_agenda
from scheduler.yard.models import Site, Yard

STEP_MINUTES = 15

#: Where nobody knows what was plugged in, a charger may have drawn this much of its watts, one standard deviation.
UNSURE_FRACTION = 0.25


def gather_readings(log: Logbook, site: Site, since: dt.datetime | None = None) -> list[Reading]:
    """Put together what was read within the same quarter hour; of two readings of the same the later counts.

    Parameters
    ----------
    log : Logbook
    site : Site
    since : datetime, optional
        Leave out what is older.
    """
    skies = _skies(log, site, since)
    by_moment: dict[dt.datetime, tuple[list[float], dict[str, float]]] = {}
    for one in log.standing:
        if one.what == "note" or (since is not None and one.time < since):
            continue
        bank, machines = by_moment.setdefault(nearest_to(one.time, QUARTER), ([], {}))
        if one.what == "bank" and one.value_pct is not None:
            bank.append(one.value_pct)
        elif one.value_pct is not None:
            machines[one.machine] = one.value_pct
    return [
        Reading(moment, bank[-1] if bank else None, machines, tuple(skies.get(moment, ())))
        for moment, (bank, machines) in sorted(by_moment.items())
    ]


def _skies(log: Logbook, site: Site, since: dt.datetime | None) -> dict[dt.datetime, list[SkySpell]]:
    """What was seen of the sky, by the moment at which it was noted; what is said anew takes the place of the old.

    A word alone is for the time since the bank was read before, of the same day.
    """
    kept: list[tuple[dt.datetime, SkySpell]] = []
    read = [nearest_to(one.time, QUARTER) for one in log.of_bank]
    for one in log.standing:
        if one.what != "sky" or (since is not None and one.time < since):
            continue
        moment = nearest_to(one.time, QUARTER)
        midnight = moment_on_clock(moment.astimezone(site.zone).date(), 0, site.zone)
        before = max([midnight, *(earlier for earlier in read if earlier < moment)])
        try:
            spells = parse_seen(one.text, before, moment, site)
        except UsageError:
            continue
        for spell in spells:
            kept = [(noted, old) for noted, old in kept if not (old.start < spell.end and spell.start < old.end)]
        kept += [(moment, spell) for spell in spells if spell.start < spell.end]
    by_moment: dict[dt.datetime, list[SkySpell]] = {}
    for noted, spell in kept:
        by_moment.setdefault(noted, []).append(spell)
    return by_moment


def expect(
    yard: Yard, readings: Sequence[Reading], weather: Weather, plans: Sequence[Plan], suns_of_plans: bool
) -> Expectation:
    """Say what was expected of a yard between its first and its last reading.

    Where a plan covers a step, its chargers run, as long as the machine takes it: from what its display showed where
    that was noted, else from what the plan has. Elsewhere a charger is taken to have run from one reading of its
    machine on as long as the rise to the next asks for, work in between included.

    Parameters
    ----------
    yard : Yard
    readings : sequence of Reading
        Those of `gather_readings`, in the order of time.
    weather : Weather
    plans : sequence of Plan
        In the order in which they hung on the door; from its start each takes over from the one before.
    suns_of_plans : bool
        Take the plans' suns where there are any, not the weather's.

    Raises
    ------
    UsageError
        If there are no two moments at which the bank was read.
    WeatherFileError
        If the weather does not reach over the readings.
    """
    grid = _grid(yard, readings)
    span = Span(now=grid.start, start=grid.start, hours=grid.n_steps * grid.step_h, step_minutes=STEP_MINUTES)
    agenda = build_agenda(yard, span, run_hours(drying_over(yard, weather, grid)))
    suns = build_suns(yard, grid, weather)
    work_wh = _work_wh(yard, agenda)
    chargers = chargers_by_plans(yard, grid, plans)
    unsure_wh = np.zeros(grid.n_steps)
    read = [round((reading.at - grid.start) / grid.step) for reading in readings if reading.bank_pct is not None]
    for column, machine in enumerate(yard.machines):
        noted, worked_wh = noted_of(machine.name, readings, grid), work_wh[:, column]
        carry_on(chargers, column, machine, noted, worked_wh, grid.step_h)
        home = ~agenda.away[machine.name]
        told = fill_from_notes(chargers, column, machine, noted, worked_wh, home, read, grid.step_h)
        unsure_wh += np.where(chargers.covered | told, 0.0, UNSURE_FRACTION * machine.charger_w * grid.step_h)
    return Expectation(
        yard=yard,
        suns=_with_plans(suns, plans) if suns_of_plans else suns,
        clear_w=clear_power_w(yard, grid),
        array_fraction=_array_fraction(yard, grid, weather, suns),
        house_wh=yard.always_on_w * grid.step_h + chargers.others_wh,
        duty_wh=_duty_wh(yard, agenda),
        plugged=chargers.plugged | (chargers.wall_wh > 0.0),
        wall_wh=chargers.wall_wh,
        work_wh=work_wh,
        unsure_wh=unsure_wh,
    )


def _grid(yard: Yard, readings: Sequence[Reading]) -> Grid:
    moments = [reading.at for reading in readings if reading.bank_pct is not None]
    if len(moments) < 2:
        msg = "wanted two or more moments at which the bank was read"
        raise UsageError(msg)
    first, last = floor_to(readings[0].at, QUARTER), ceil_to(readings[-1].at, QUARTER)
    return Grid(first, STEP_MINUTES, max((last - first) // QUARTER, 1), yard.site.zone)


def _with_plans(suns: ThreeSuns, plans: Sequence[Plan]) -> ThreeSuns:
    by_name = {name: watts.copy() for name, watts in suns.by_name.items()}
    for plan in plans:
        inside, of_plan = steps_in_plan(plan, suns.grid)
        for name, watts in plan.suns.by_name.items():
            by_name[name][inside] = watts[of_plan]
    source = f"the plans' own; elsewhere {suns.source}" if plans else suns.source
    return ThreeSuns(
        suns.grid, by_name["dull"], by_name["likely"], by_name["bright"], suns.shed_temp_c, source
    )


def _array_fraction(yard: Yard, grid: Grid, weather: Weather, suns: ThreeSuns) -> FloatArray:
    """Each array's part of the likely sun's power; by rated power in the dark."""
    rated_w = np.array([array.rated_w for array in yard.arrays])
    if len(yard.arrays) == 1:
        return np.ones((grid.n_steps, 1))
    alone = (yard.model_copy(update={"arrays": (array,)}) for array in yard.arrays)
    power_w = np.column_stack([build_suns(one, grid, weather).likely_w for one in alone])
    total_w = power_w.sum(axis=1, keepdims=True)
    by_rating = np.broadcast_to(rated_w / rated_w.sum(), power_w.shape).copy()
    fraction: FloatArray = np.divide(power_w, total_w, out=by_rating, where=total_w > 0.0)
    return fraction


def _duty_wh(yard: Yard, agenda: Agenda) -> FloatArray:
    """What switches by itself, spread over its windows [Wh]."""
    watts = {load.name: load.watts for load in yard.house_loads}
    duty_wh = np.zeros(agenda.grid.n_steps)
    for duty in agenda.duties:
        part = duty.on_steps / (duty.last - duty.first)
        duty_wh[duty.first : duty.last] += watts[duty.load] * part * agenda.grid.step_h
    return duty_wh


def _work_wh(yard: Yard, agenda: Agenda) -> FloatArray:
    work_wh = np.zeros((agenda.grid.n_steps + 1, len(yard.machines)))
    for column, machine in enumerate(yard.machines):
        for need in agenda.needs[machine.name]:
            work_wh[need.edge, column] += need.work_wh
    return work_wh
