"""From a yard, its weather, the plans that hung on the door and its logbook to what was expected of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from scheduler.errors import UsageError
from scheduler.logbook.expectation import Expectation, Reading
from scheduler.logbook.readings import Logbook
from scheduler.planning.record import Plan
from scheduler.planning.replay_physics import BoolArray
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

    Where a plan covers a step, its chargers run; elsewhere a charger is taken to have run from one reading of its
    machine on as long as the rise to the next asks for.

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
    wall_wh, plugged, covered = _by_plans(yard, grid, plans)
    unsure_wh = np.zeros(grid.n_steps)
    for column, machine in enumerate(yard.machines):
        told = _fill_from_readings(wall_wh[:, column], covered, yard, machine.name, readings, grid)
        unsure_wh += np.where(covered | told, 0.0, UNSURE_FRACTION * machine.charger_w * grid.step_h)
    return Expectation(
        yard=yard,
        suns=_with_plans(suns, plans) if suns_of_plans else suns,
        clear_w=clear_power_w(yard, grid),
        array_fraction=_array_fraction(yard, grid, weather, suns),
        house_wh=np.full(grid.n_steps, yard.always_on_w * grid.step_h),
        duty_wh=_duty_wh(yard, agenda),
        plugged=plugged | (wall_wh > 0.0),
        wall_wh=wall_wh,
        work_wh=_work_wh(yard, agenda),
        unsure_wh=unsure_wh,
    )


def charge_at_first(yard: Yard, plans: Sequence[Plan], first: dt.datetime) -> dict[str, float]:
    """What machines held at the first reading by the plan that hung there [%]; nothing without one."""
    for plan in reversed(plans):
        if plan.grid.start <= first < plan.grid.end:
            edge = (first - plan.grid.start) // plan.grid.step
            capacity_wh = {machine.name: machine.capacity_wh for machine in yard.machines}
            return {
                machine.name: 100.0 * float(machine.charge_wh[edge]) / capacity_wh[machine.name]
                for machine in plan.machines
                if machine.name in capacity_wh
            }
    return {}


def _grid(yard: Yard, readings: Sequence[Reading]) -> Grid:
    moments = [reading.at for reading in readings if reading.bank_pct is not None]
    if len(moments) < 2:
        msg = (
            f"the logbook has {len(moments)} moments at which the bank was read; wanted two or more: note what its "
            'display shows at each visit, such as: sunroster note my-yard.toml --bank 62'
        )
        raise UsageError(msg)
    first, last = floor_to(readings[0].at, QUARTER), ceil_to(readings[-1].at, QUARTER)
    return Grid(first, STEP_MINUTES, max((last - first) // QUARTER, 1), yard.site.zone)


def _steps_in_plan(plan: Plan, grid: Grid) -> tuple[BoolArray, NDArray[np.intp]]:
    """Return which steps of the grid a plan covers, and in which of its own each of them lies."""
    offset_s = (grid.start - plan.grid.start).total_seconds()
    middle_s = offset_s + (np.arange(grid.n_steps) + 0.5) * grid.step.total_seconds()
    inside = (middle_s >= 0.0) & (middle_s < (plan.grid.end - plan.grid.start).total_seconds())
    return inside, (middle_s[inside] // plan.grid.step.total_seconds()).astype(np.intp)


def _by_plans(
    yard: Yard, grid: Grid, plans: Sequence[Plan]
) -> tuple[FloatArray, BoolArray, BoolArray]:
    """Return what the plans let each charger draw, what they have plugged in, and the steps that they cover."""
    wall_wh, covered = np.zeros((grid.n_steps, len(yard.machines))), np.zeros(grid.n_steps, dtype=bool)
    plugged = np.zeros(wall_wh.shape, dtype=bool)
    for plan in plans:
        inside, of_plan = _steps_in_plan(plan, grid)
        planned = {machine.name: machine for machine in plan.machines}
        for column, machine in enumerate(yard.machines):
            if machine.name in planned:
                drawn_wh = planned[machine.name].wall_wh[of_plan]
                wall_wh[inside, column] = drawn_wh * (grid.step_h / plan.grid.step_h)
                plugged[inside, column] = planned[machine.name].plugged[of_plan]
        covered |= inside
    return wall_wh, plugged, covered


def _fill_from_readings(
    wall_wh: FloatArray, covered: BoolArray, yard: Yard, name: str, readings: Sequence[Reading], grid: Grid
) -> BoolArray:
    """Where no plan says what a charger drew, take it from the rise between two readings of its machine.

    Return the steps between two readings.
    """
    told = np.zeros(grid.n_steps, dtype=bool)
    machine = next(one for one in yard.machines if one.name == name)
    noted = [(reading.at, reading.machines_pct[name]) for reading in readings if name in reading.machines_pct]
    for (since, before_pct), (until, after_pct) in pairwise(noted):
        first, last = (round((moment - grid.start) / grid.step) for moment in (since, until))
        told[first:last] = True
        if after_pct <= before_pct or last <= first or covered[first:last].any():
            continue
        drawn_wh = (after_pct - before_pct) / 100.0 * machine.capacity_wh / machine.charger_efficiency
        steps = int(np.clip(np.ceil(drawn_wh / (machine.charger_w * grid.step_h)), 1, last - first))
        wall_wh[first : first + steps] = drawn_wh / steps
    return told


def _with_plans(suns: ThreeSuns, plans: Sequence[Plan]) -> ThreeSuns:
    by_name = {name: watts.copy() for name, watts in suns.by_name.items()}
    for plan in plans:
        inside, of_plan = _steps_in_plan(plan, suns.grid)
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
