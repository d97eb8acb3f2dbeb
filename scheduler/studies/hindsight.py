"""How good is the planner? A lived year against what nobody could have bettered, had they known its sun."""

from __future__ import annotations

from scheduler.planning.foresight import Foresight, Leave, bound_needs
from scheduler.studies.year import PreparedYear, for_number
from scheduler.studies.yearrecord import YearLived
from scheduler.studies.yearsky import draw_sky
from scheduler.yard.agenda import Agenda


def bound_year(prepared: PreparedYear, number: int = 0, lived: YearLived | None = None) -> Foresight:
    """Bound the needs met in a year under its true sun, for whoever keeps the reserve.

    Parameters
    ----------
    prepared : PreparedYear
    number : int
        0 for the typical year, any other for a resampled one.
    lived : YearLived, optional
        The same year as it was lived. Where days duller than their dull sun took its bank below the reserve, or
        its house went without, the bound is given as much leave, so that it holds for that year too.
    """
    prepared = for_number(prepared, number)
    settings, agenda = prepared.settings, lived_part(prepared)
    sky = draw_sky(prepared.suns, prepared.agenda.whole.grid, prepared.spread, settings.seed, number)
    part = slice(0, prepared.agenda.last)
    leave = None if lived is None else leave_of(prepared, agenda, lived)
    return bound_needs(prepared.yard, agenda, sky.true_w[part], sky.shed_temp_c[part], leave)


def lived_part(prepared: PreparedYear) -> Agenda:
    """Return what the clock asks up to the end of the last lived day; a window that it cuts asks for nothing."""
    whole, last = prepared.agenda.whole, prepared.agenda.last
    grid = type(whole.grid)(whole.grid.start, whole.grid.step_minutes, last, whole.grid.zone)
    return Agenda(
        grid=grid,
        visits=tuple(visit for visit in whole.visits if visit < last),
        needs={name: tuple(n for n in needs if n.edge < last) for name, needs in whole.needs.items()},
        away={name: away[:last] for name, away in whole.away.items()},
        duties=tuple(duty for duty in whole.duties if duty.last <= last),
        notes=whole.notes,
    )


def leave_of(prepared: PreparedYear, agenda: Agenda, lived: YearLived) -> Leave:
    """Return what a lived year took that a plan may not: the lowest level, and what the house went without."""
    yard, grid = prepared.yard, agenda.grid
    watts = {load.name: load.watts for load in yard.house_loads}
    wanted_wh = yard.always_on_w * grid.n_steps * grid.step_h
    wanted_wh += sum(watts[duty.load] * duty.on_steps * grid.step_h for duty in agenda.duties)
    missed_wh = max(wanted_wh - lived.total(lambda day: sum(day.house_wh)), 0.0)
    not_idled_wh = yard.inverter.idle_w * lived.total(lambda day: day.ac_off_h)
    floor_wh = min([yard.bank.reserve_wh, *(day.lowest_wh for day in lived.days)])
    return Leave(floor_wh, missed_wh / yard.inverter.efficiency + not_idled_wh)
