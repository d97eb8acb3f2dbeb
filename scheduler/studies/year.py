"""A year lived day by day: planned each evening by what the forecast says, lived under the sun that comes.

Machines that are not ready go out all the same and come back with what is left; charges, plugs and the bank's level
carry on into the next day.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass, replace
from itertools import pairwise

from scheduler.studies.forecasts import DefaultSpread, Spread
from scheduler.studies.keepers import Keeper, PlanningKeeper
from scheduler.studies.living import Life, Tally, YardState
from scheduler.studies.typicalsuns import TypicalSuns, prepare_suns
from scheduler.studies.yearagenda import YearAgenda, build_year_agenda, duties_between, weekly_yard
from scheduler.studies.yearrecord import DayLived, Readiness, YearLived
from scheduler.studies.yearsky import YearSky, draw_sky, drying_hours
from scheduler.sun.typicalyear import TypicalYear
from scheduler.timegrid import moment_on_clock
from scheduler.yard.models import Yard

#: Told the month and the readiness so far, and how much of it all is behind, 0 to 1.
Tell = Callable[[str, float], None]


@dataclass(frozen=True)
class YearSettings:
    """How a year is lived.

    Parameters
    ----------
    seed : int
        Of all that is drawn.
    number : int
        0 for the typical year's days in their order, any other for days drawn again.
    first_day : date
        Its weekdays are those of the needs.
    n_days : int
        At most 365.
    ahead_h : float
        How far plans look at most [h].
    aim_limit_s : float
        Wall-clock limit of each aim [s]; plans that reach it are counted, and depend on the machine.
    step_minutes : int, optional
        Else the longest step on which everything falls (R1).
    """

    seed: int = 0
    number: int = 0
    first_day: dt.date = dt.date(2027, 1, 1)
    n_days: int = 365
    ahead_h: float = 48.0
    aim_limit_s: float = 30.0
    step_minutes: int | None = None


@dataclass(frozen=True)
class PreparedYear:
    """What years of one yard have in common, whatever is drawn; made once."""

    yard: Yard
    settings: YearSettings
    agenda: YearAgenda
    suns: TypicalSuns
    spread: Spread
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Bookmark:
    """How far a year has come: what is needed to live on from an evening.

    Attributes
    ----------
    edge : int
        What comes due on it is taken out already.
    state : YardState
    tally : Tally
        Of the day that is not over.
    days : tuple of DayLived
        Those that are.
    planning_s : float
        Time spent planning until then [s].
    """

    edge: int
    state: YardState
    tally: Tally
    days: tuple[DayLived, ...]
    planning_s: float = 0.0


def prepare_year(
    yard: Yard, weather: TypicalYear, settings: YearSettings, spread: Spread | None = None
) -> PreparedYear:
    """Work out once what all years of a yard share: the sun on its panels and what the clock asks.

    Raises
    ------
    UsageError
        If no machine is needed weekly.
    """
    yard, notes = weekly_yard(yard)
    agenda = build_year_agenda(yard, settings.first_day, settings.n_days, settings.step_minutes)
    suns = prepare_suns(yard, weather, agenda.whole.grid.step_minutes, settings.first_day.year)
    told = (*notes, *agenda.whole.notes)
    return for_number(PreparedYear(yard, settings, agenda, suns, spread or DefaultSpread(), told), 0)


def for_number(prepared: PreparedYear, number: int) -> PreparedYear:
    """Return the prepared yard for one of its years: what runs against humidity follows from the days drawn."""
    if not prepared.suns.drying_h:
        return prepared
    settings, grid = prepared.settings, prepared.agenda.whole.grid
    hours = drying_hours(prepared.suns, grid, settings.seed, number)
    agenda = build_year_agenda(prepared.yard, settings.first_day, settings.n_days, grid.step_minutes, hours)
    return replace(prepared, agenda=agenda)


def live_year(
    yard: Yard, weather: TypicalYear, settings: YearSettings, tell: Tell | None = None
) -> YearLived:
    """Live a year from its first day to its last.

    Parameters
    ----------
    yard : Yard
        The same weather and seeds serve for any other yard of the place: what is drawn does not depend on it.
    weather : TypicalYear
    settings : YearSettings
    tell : callable, optional

    Raises
    ------
    UsageError
        If no machine is needed weekly.
    """
    return live_prepared(prepare_year(yard, weather, settings), settings.number, tell)


def live_prepared(prepared: PreparedYear, number: int = 0, tell: Tell | None = None) -> YearLived:
    """Live one of the years of a prepared yard."""
    walk = YearWalk.begun(prepared, number)
    while not walk.is_done:
        walk.go_on()
        if tell is not None:
            tell(walk.told(), walk.done_fraction)
    return walk.lived()


class YearWalk:
    """A year on its way, from evening to evening."""

    def __init__(
        self, prepared: PreparedYear, sky: YearSky, keeper: Keeper, at: Bookmark | None = None
    ) -> None:
        self.prepared, self.sky, self.keeper = prepared, sky, keeper
        yard, whole = prepared.yard, prepared.agenda.whole
        self._life = Life.of(yard, whole, sky.true_w, sky.shed_temp_c)
        self._midnights = _midnights(prepared)
        if at is None:
            state = YardState.of(yard)
            at = Bookmark(0, state, Tally.begun(yard, state.level_wh), ())
            self._life.take_out(at.state, at.tally, 0)
        self._edge, self._days = at.edge, list(at.days)
        self._state, self._tally = deepcopy((at.state, at.tally))
        self._planned_before_s = at.planning_s

    @classmethod
    def begun(cls, prepared: PreparedYear, number: int = 0, at: Bookmark | None = None) -> YearWalk:
        """Return a year lived by the planner, at its beginning or where it was left."""
        settings, prepared = prepared.settings, for_number(prepared, number)
        sky = draw_sky(prepared.suns, prepared.agenda.whole.grid, prepared.spread, settings.seed, number)
        keeper = PlanningKeeper(prepared.yard, prepared.agenda, sky, settings.ahead_h, settings.aim_limit_s)
        return cls(prepared, sky, keeper, at)

    @property
    def is_done(self) -> bool:
        """Whether the last day is over."""
        return self._edge >= self.prepared.agenda.last

    @property
    def edge(self) -> int:
        """The evening that it has come to."""
        return self._edge

    @property
    def done_fraction(self) -> float:
        """How much of it all is behind."""
        return self._edge / self.prepared.agenda.last

    def told(self) -> str:
        """The month, and the readiness so far."""
        so_far = Readiness.of(need for day in self._days for need in day.needs)
        month = self.prepared.agenda.whole.grid.local(self._edge)
        return f"{month:%B}, ready {so_far.ready} of {so_far.asked}"

    def go_on(self) -> None:
        """Plan on an evening, and live until the next."""
        begin, end = self._edge, self._next_evening()
        stint = self.keeper.begin(self._state, begin)
        self._tally.unproven_plans += not stint.is_proven
        for step in range(begin, end):
            stint.come_by(self._state, self._tally, step)
            running = stint.running(step)
            if self._life.run_step(self._state, self._tally, step, running):
                self._count_duties(step, running)
            self._turn_to(step + 1)
        still_open = {
            (window.load, window.first) for window in duties_between(self.prepared.agenda.whole, end, end + 1)
        }
        self._state.already_run = {
            key: steps for key, steps in self._state.already_run.items() if key in still_open
        }
        self._edge = end

    def skip_to(self, later: Bookmark, days: tuple[DayLived, ...]) -> None:
        """Go on at a later evening, by days that were lived elsewhere from where everything stands here."""
        today = self.prepared.agenda.whole.grid.local(self._edge).date()
        self._days += [day for day in days if day.date >= today]
        self._edge = later.edge
        self._state, self._tally = deepcopy((later.state, later.tally))
        self._planned_before_s += later.planning_s

    def bookmark(self) -> Bookmark:
        """Where the year is; it may go on without changing what is returned."""
        state, tally = deepcopy((self._state, self._tally))
        return Bookmark(self._edge, state, tally, tuple(self._days), self._planning_s)

    def lived(self) -> YearLived:
        """Return the days that are over."""
        yard = self.prepared.yard
        return YearLived(
            site=yard.site.name,
            source=self.sky.source,
            hand=self.keeper.name,
            machines=tuple(machine.name for machine in yard.machines),
            house_loads=tuple(load.name for load in yard.house_loads),
            machine_capacity_wh=tuple(machine.capacity_wh for machine in yard.machines),
            bank_capacity_wh=yard.bank.capacity_wh,
            reserve_wh=yard.bank.reserve_wh,
            start_level_wh=yard.bank.level_wh,
            start_charge_wh=tuple(machine.charge_wh for machine in yard.machines),
            days=tuple(self._days),
            notes=self.prepared.notes,
            planning_s=self._planning_s,
        )

    @property
    def _planning_s(self) -> float:
        return self._planned_before_s + self.keeper.planning_s

    def _next_evening(self) -> int:
        agenda = self.prepared.agenda
        return next((edge for edge in agenda.plan_edges if edge > self._edge), agenda.last)

    def _turn_to(self, edge: int) -> None:
        """Close the day at midnight; what comes due then belongs to the next."""
        if edge in self._midnights:
            self._close_day(self._midnights[edge], edge)
        if edge < self.prepared.agenda.whole.grid.n_steps:
            self._life.take_out(self._state, self._tally, edge)

    def _close_day(self, first: int, end: int) -> None:
        sky, grid, tally, state = self.sky, self.prepared.agenda.whole.grid, self._tally, self._state
        dull_wh, likely_wh, bright_wh = (
            float(grid.energy_wh(series[first:end]).sum())
            for series in (sky.dull_w, sky.likely_w, sky.bright_w)
        )
        self._days.append(
            DayLived(
                date=grid.local(first).date(),
                typical_day=int(sky.typical_day[(first + end) // 2]),
                dull_wh=dull_wh,
                likely_wh=likely_wh,
                bright_wh=bright_wh,
                **tally.closed(),
                level_wh=state.level_wh,
                charge_wh=tuple(state.charge_wh),
            )
        )
        self._tally = Tally.begun(self.prepared.yard, state.level_wh)

    def _count_duties(self, step: int, running: list[bool]) -> None:
        """Keep count of what duty loads have run in their windows, for the plans to come."""
        already_run = self._state.already_run
        for load, on in zip(self.prepared.yard.house_loads, running, strict=True):
            if on and not load.always_on:
                window = self.prepared.agenda.window_of(load.name, step)
                if window is not None:
                    key = (window.load, window.first)
                    already_run[key] = already_run.get(key, 0) + 1


def _midnights(prepared: PreparedYear) -> dict[int, int]:
    """Edges on which local days end, each with the edge on which the day began."""
    settings, grid = prepared.settings, prepared.agenda.whole.grid
    edges = [
        grid.index_of(moment_on_clock(settings.first_day + dt.timedelta(days=day), 0, grid.zone))
        for day in range(settings.n_days + 1)
    ]
    return {end: first for first, end in pairwise(edges)}
