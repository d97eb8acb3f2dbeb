"""Changes to a yard: its limits eased one at a time, to see which one holds; and what a keeper could really do."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from scheduler.studies.year import PreparedYear, YearSettings, for_number, prepare_year
from scheduler.studies.yearagenda import build_year_agenda, weekly_yard
from scheduler.sun.typicalyear import TypicalYear
from scheduler.yard.arrays import places_by_input
from scheduler.yard.clock import show_minute_of_day
from scheduler.yard.models import Array, Machine, Need, Outlet, Visits, Yard

#: An eased sun or bank is so many times what stands there: the most that panels or modules are tried for.
EASED_TIMES = 2

#: An eased inverter carries so many times its watts: more than everything together.
EASED_INVERTER_TIMES = 10.0

#: Besides the visits there are, somebody comes by every three hours of the day where visits are eased [minutes].
EASED_VISITS = tuple(range(6 * 60, 22 * 60, 3 * 60))

#: Steps in which a reserve is lowered [%].
RESERVE_STEP_PCT = 5.0

#: A visit is added at least this long after, and before, any other [minutes].
_VISITS_APART_MIN = 90


@dataclass(frozen=True)
class Change:
    """A yard that is different in one respect; `words` say what was done."""

    words: str
    yard: Yard


@dataclass(frozen=True)
class Cure:
    """Something a keeper could do, in several sizes.

    Attributes
    ----------
    kind : str
    changes : tuple of Change
    limit : str or None
        The limit that it eases, if it is one: where that limit gone altogether does not help, this does not either.
    is_nested : bool
        Whether each change is more of the one before it, or another of the same kind.
    """

    kind: str
    changes: tuple[Change, ...]
    limit: str | None = None
    is_nested: bool = True


def changed_yard(yard: Yard, **tables: object) -> Yard:
    """Return the yard with other tables."""
    return yard.model_copy(update=tables)


def prepare_changed(
    base: PreparedYear, yard: Yard, weather: TypicalYear, settings: YearSettings
) -> PreparedYear:
    """Prepare a year of a changed yard; the sun on panels that have not changed is taken from the one at hand.

    Parameters
    ----------
    base : PreparedYear
        Of the same place and weather, on the same step, in the same calendar year.
    yard : Yard
    weather : TypicalYear
    settings : YearSettings
    """
    if yard.arrays != base.yard.arrays:
        return prepare_year(yard, weather, settings, base.spread)
    weekly, notes = weekly_yard(yard)
    agenda = build_year_agenda(weekly, settings.first_day, settings.n_days, settings.step_minutes)
    told = (*notes, *agenda.whole.notes)
    return for_number(
        replace(base, yard=weekly, settings=settings, agenda=agenda, notes=told), settings.number
    )


def with_panels(yard: Yard, more: int) -> Yard:
    """Add panels to the largest array, its input's limit growing with them; fewer where `more` is negative.

    Panels taken away come from the arrays in turn, largest first, and leave one in each.
    """
    panels = [array.panels for array in yard.arrays]
    if more >= 0:
        panels[max(range(len(panels)), key=lambda number: yard.arrays[number].rated_w)] += more
    for _ in range(-more):
        panels[max(range(len(panels)), key=lambda number: panels[number])] -= 1
    return changed_yard(yard, arrays=_repanelled(yard.arrays, panels))


def _repanelled(arrays: tuple[Array, ...], panels: Sequence[int]) -> tuple[Array, ...]:
    """Give the arrays these panels, each input's limit keeping its part of what is rated on it."""
    changed = list(arrays)
    for places in places_by_input(arrays):
        rated_w = [(panels[place] * arrays[place].panel_w, arrays[place].rated_w) for place in places]
        times = sum(after for after, _ in rated_w) / sum(before for _, before in rated_w)
        for place in places:
            limit_w = arrays[place].input_limit_w
            update = {"panels": panels[place], "input_limit_w": None if limit_w is None else limit_w * times}
            changed[place] = arrays[place].model_copy(update=update)
    return tuple(changed)


def with_modules(yard: Yard, more: int) -> Yard:
    """Add modules like the largest to the bank, or take the last ones away; its level stays in percent."""
    modules = yard.bank.modules_wh
    held = (*modules, *([max(modules)] * more)) if more >= 0 else modules[:more]
    return changed_yard(yard, bank=yard.bank.model_copy(update={"modules_wh": held}))


def ease_limits(yard: Yard) -> dict[str, Change]:
    """Return the yard with each limit eased in turn, by the limit's name."""
    inverter, bank = yard.inverter, yard.bank
    times = EASED_TIMES
    doubled = _repanelled(yard.arrays, [times * array.panels for array in yard.arrays])
    strong = {
        "continuous_w": inverter.continuous_w * EASED_INVERTER_TIMES,
        "surge_w": inverter.surge_limit_w * EASED_INVERTER_TIMES,
    }
    mild = tuple(machine.model_copy(update={"charge_temp_c": (-90.0, 90.0)}) for machine in yard.machines)
    return {
        "sun": Change(f"{times} times the panels", changed_yard(yard, arrays=doubled)),
        "bank": Change(f"{times} times the bank", with_modules(yard, (times - 1) * len(bank.modules_wh))),
        "inverter": Change(
            f"{EASED_INVERTER_TIMES:g} times the inverter",
            changed_yard(yard, inverter=inverter.model_copy(update=strong)),
        ),
        "outlets": Change("an outlet for every machine", changed_yard(yard, outlets=_outlets_for_all(yard))),
        "visits": Change(
            "a visit every three hours too, 06:00 to 21:00",
            changed_yard(yard, visits=_visited(yard, EASED_VISITS)),
        ),
        "cold or heat": Change("charging at any temperature", changed_yard(yard, machines=mild)),
    }


def _outlets_for_all(yard: Yard) -> tuple[Outlet, ...]:
    more = (
        _best_outlet(yard, machine).model_copy(update={"name": f"outlet for {machine.name}"})
        for machine in yard.machines
    )
    return (*yard.outlets, *more)


def _best_outlet(yard: Yard, machine: Machine) -> Outlet:
    """Return the outlet that gives a machine's kind most."""
    return max((o for o in yard.outlets if o.kind == machine.supply), key=lambda outlet: outlet.limit_w)


def list_cures(yard: Yard, newcomers: Sequence[Machine], floor_pct: float) -> tuple[Cure, ...]:
    """Return what a keeper could do, kind by kind, each from little to much.

    Parameters
    ----------
    yard : Yard
        With the new machines in it.
    newcomers : sequence of Machine
    floor_pct : float
        The reserve is not lowered below this [%].
    """
    panels = sum(array.panels for array in yard.arrays)
    modules = len(yard.bank.modules_wh)
    cures = (
        Cure("panels", _sizes((EASED_TIMES - 1) * panels, yard, with_panels, "panel"), "sun"),
        Cure("bank modules", _sizes((EASED_TIMES - 1) * modules, yard, with_modules, "bank module"), "bank"),
        Cure("an outlet", _outlet_changes(yard, newcomers), "outlets"),
        Cure("a timer", _timer_changes(yard, newcomers)),
        Cure("a visit", _visit_changes(yard), "visits", is_nested=False),
        Cure("a later ready-by", _later_changes(yard, newcomers)),
        Cure("a lower reserve", _reserve_changes(yard, floor_pct)),
    )
    return tuple(cure for cure in cures if cure.changes)


def _sizes(most: int, yard: Yard, add: Callable[[Yard, int], Yard], what: str) -> tuple[Change, ...]:
    return tuple(
        Change(f"{more} more {what}{'s' if more > 1 else ''}", add(yard, more)) for more in range(1, most + 1)
    )


def _outlet_changes(yard: Yard, newcomers: Sequence[Machine]) -> tuple[Change, ...]:
    like = _best_outlet(yard, max(newcomers, key=lambda machine: machine.charger_w))
    more = like.model_copy(update={"name": "new outlet"})
    words = f'1 more {like.kind.upper()} outlet like "{like.name}"'
    return (Change(words, changed_yard(yard, outlets=(*yard.outlets, more))),)


def _timer_changes(yard: Yard, newcomers: Sequence[Machine]) -> tuple[Change, ...]:
    largest = max(newcomers, key=lambda machine: machine.charger_w)
    return tuple(
        Change(f'a timer on "{outlet.name}"', changed_yard(yard, outlets=_timed(yard, outlet)))
        for outlet in yard.outlets
        if outlet.kind == largest.supply and outlet.limit_w >= largest.charger_w and not outlet.timer
    )[:1]


def _timed(yard: Yard, which: Outlet) -> tuple[Outlet, ...]:
    return tuple(o.model_copy(update={"timer": True}) if o is which else o for o in yard.outlets)


def _visit_changes(yard: Yard) -> tuple[Change, ...]:
    """One more visit every day, in the middle of each gap of the day or two hours after its last visit."""
    taken = sorted({minute for weekday in range(7) for minute in yard.visits.on_weekday(weekday)})
    usual = sorted(yard.visits.times)
    wanted = [60 * round((early + late) / 120) for early, late in pairwise(usual)]
    wanted += [min(usual[-1] + 180, 21 * 60)] if usual else []
    free = [at for at in wanted if all(abs(at - other) >= _VISITS_APART_MIN for other in taken)]
    return tuple(
        Change(
            f"a visit at {show_minute_of_day(at)} every day", changed_yard(yard, visits=_visited(yard, (at,)))
        )
        for at in free
    )


def _visited(yard: Yard, more: Sequence[int]) -> Visits:
    lists = {
        name: _clock(sorted({*times, *more}))
        for name in Visits.model_fields
        if (times := getattr(yard.visits, name)) is not None
    }
    return Visits.model_validate(lists)


def _clock(minutes: Iterable[int]) -> tuple[str, ...]:
    return tuple(show_minute_of_day(minute) for minute in minutes)


def _later_changes(yard: Yard, newcomers: Sequence[Machine]) -> tuple[Change, ...]:
    """The new machines' needs later in the day, at each later visit."""
    names = {machine.name for machine in newcomers}
    first = min(
        (need.ready_by for m in newcomers for need in m.needs if isinstance(need.ready_by, int)), default=0
    )
    return tuple(
        Change(
            f"ready by {show_minute_of_day(at)}",
            changed_yard(
                yard, machines=tuple(_later(m, at) if m.name in names else m for m in yard.machines)
            ),
        )
        for at in sorted(yard.visits.times)
        if at > first
    )


def _later(machine: Machine, at: int) -> Machine:
    def moved(need: Need) -> Need:
        is_early = isinstance(need.ready_by, int) and need.ready_by < at
        return need.model_copy(update={"ready_by": at}) if is_early else need

    return machine.model_copy(update={"needs": tuple(moved(need) for need in machine.needs)})


def _reserve_changes(yard: Yard, floor_pct: float) -> tuple[Change, ...]:
    lowered: list[Change] = []
    reserve_pct = yard.bank.reserve_pct - RESERVE_STEP_PCT
    while reserve_pct >= floor_pct:
        bank = yard.bank.model_copy(update={"reserve_pct": reserve_pct})
        lowered.append(Change(f"a reserve of {reserve_pct:g} %", changed_yard(yard, bank=bank)))
        reserve_pct -= RESERVE_STEP_PCT
    return tuple(lowered)
