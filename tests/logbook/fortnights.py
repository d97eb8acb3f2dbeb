"""Weeks of a yard whose true figures differ from its fleet file, lived by another physics than learning has."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np

from scheduler.logbook.expectation import Expectation, Reading
from scheduler.studies.living import Life, Tally, YardState
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import FloatArray
from scheduler.yard.agenda import Agenda, Span, build_agenda
from scheduler.yard.models import HouseLoad, Machine, Visits, Yard
from tests.logbook import injected

#: So many times the panels of the yard with faults, so that there is enough to charge with.
PANELS_TIMES = 1.3

#: Work is done in the afternoon, between two visits.
WORK_HOUR = 14

#: What the bank must show for each machine to be plugged in.
LOWEST_PCT = (80.0, 80.0, 40.0)


@dataclass(frozen=True)
class Truth:
    """By what the file's figures are multiplied."""

    array: float
    base_load: float
    bank: float
    charger: float

    @classmethod
    def drawn(cls, random: np.random.Generator) -> Truth:
        """Something that may be found in a yard."""
        return cls(
            random.uniform(0.75, 1.1), random.uniform(0.7, 1.8), random.uniform(0.75, 1.05), random.uniform(0.8, 1.2)
        )


@dataclass(frozen=True)
class Weeks:
    """What learning gets to see, and the truth."""

    truth: Truth
    base_w: float
    expected: Expectation
    readings: list[Reading]


def slow_yard() -> Yard:
    """A yard whose chargers are not done in a night, so that their draw shows, and whose nights have no other use."""
    machines = (("tractor", 4000.0, 170.0), ("mower", 2500.0, 110.0), ("cart", 2000.0, 150.0))
    return injected.yard_of(
        visits=Visits(times=("07:00", "12:00", "18:00")),
        house_loads=(
            HouseLoad(name="cold room", watts=150.0, always_on=True),
            HouseLoad(name="dryer", watts=320.0, hours_per_day=6.0, window=("08:00", "18:00"), min_block_h=2.0),
        ),
        machines=tuple(
            Machine(name=name, battery_wh=wh, charger_w=watts, charge_pct=30.0, charge_temp_c=(-40.0, 60.0))
            for name, wh, watts in machines
        ),
    )


def without_load(weeks: Weeks) -> Weeks:
    """The same weeks of a yard whose fleet file knows of no load that is always on."""
    yard, expected = weeks.expected.yard, weeks.expected
    loads = tuple(load for load in yard.house_loads if not load.always_on)
    unknowing = yard.model_copy(update={"house_loads": loads})
    return replace(weeks, expected=replace(expected, yard=unknowing, house_wh=np.zeros(expected.grid.n_steps)))


def live_weeks(
    seed: int,
    days: int = 28,
    spread_fraction: float = 0.5,
    words: injected.Words | None = None,
    truth: Truth | None = None,
) -> Weeks:
    """Live some weeks: two machines charge every other night, one of mornings; all work after noon.

    With `words` the hand says at each visit what the sky was like since the one before. Without `truth` it is drawn.
    """
    random = np.random.default_rng([99, seed])
    yard = slow_yard()
    sky = injected.made_sky(spread_fraction)
    grid = injected.prepared_year().agenda.whole.grid
    begin = grid.local(0).date() + dt.timedelta(days=int(random.integers(1, 360 - days)))
    start = dt.datetime.combine(begin, dt.time(7), tzinfo=yard.site.zone).astimezone(dt.UTC)
    agenda = build_agenda(yard, Span(now=start, start=start, hours=days * 24 + 1, step_minutes=60))
    part = slice(grid.index_of(start), grid.index_of(start) + agenda.grid.n_steps)
    dull_w, likely_w, bright_w, true_w = (
        PANELS_TIMES * watts[part] for watts in (sky.dull_w, sky.likely_w, sky.bright_w, sky.true_w)
    )
    suns = ThreeSuns(agenda.grid, dull_w, likely_w, bright_w, sky.shed_temp_c[part], "made up")
    drawn = Truth.drawn(random)
    truth = truth or drawn
    lived = _live(random, yard, agenda, suns, true_w, truth)
    if words is None:
        return lived
    word_of = injected.number_of_words(part)
    said = injected.with_words(np.random.default_rng([99, seed, 7]), lived.readings, agenda, word_of, words)
    return replace(lived, readings=said)


def _real(yard: Yard, truth: Truth) -> Yard:
    bank = yard.bank.model_copy(update={"modules_wh": tuple(truth.bank * wh for wh in yard.bank.modules_wh)})
    cold_room, dryer = yard.house_loads
    cold_room = cold_room.model_copy(update={"watts": truth.base_load * cold_room.watts})
    machines = tuple(one.model_copy(update={"charger_w": truth.charger * one.charger_w}) for one in yard.machines)
    return yard.model_copy(update={"bank": bank, "house_loads": (cold_room, dryer), "machines": machines})


def _live(
    random: np.random.Generator, yard: Yard, agenda: Agenda, suns: ThreeSuns, true_w: FloatArray, truth: Truth
) -> Weeks:
    """Live hour by hour."""
    real, grid = _real(yard, truth), agenda.grid
    first = injected.prepared_year().agenda.whole.grid.index_of(grid.start)
    life = Life.of(real, agenda, truth.array * true_w, suns.shed_temp_c)
    state, tally = YardState.of(real), Tally.begun(real, real.bank.level_wh)
    duty, window = injected.blocks(random, agenda), injected.in_window(agenda)
    plugged = np.zeros((grid.n_steps, 3), dtype=bool)
    work_wh = np.zeros((grid.n_steps + 1, 3))
    readings: list[Reading] = []
    for step in range(grid.n_steps):
        hour, today = grid.local(step).hour, grid.local(step).toordinal()
        if step in agenda.visits or step == 0:
            bank_pct = injected.shown(random, state.level_wh / real.bank.capacity_wh)
            machines_pct = {
                one.name: injected.shown(random, charge_wh / one.capacity_wh)
                for charge_wh, one in zip(state.charge_wh, real.machines, strict=True)
            }
            readings.append(Reading(grid.edge(step), bank_pct, machines_pct))
            turns = (0, 1) if hour > 12 and today % 2 else (2,) if hour < 12 else ()
            for number in range(3):
                due = number in turns and bank_pct >= LOWEST_PCT[number]
                state.outlet[number] = real.outlets[number].name if due else None
        if hour == WORK_HOUR:
            for number, one in enumerate(real.machines):
                spent_wh = max(0.0, state.charge_wh[number] - 0.2 * one.capacity_wh)
                state.charge_wh[number] -= spent_wh
                work_wh[step, number] = spent_wh
        plugged[step] = [outlet is not None for outlet in state.outlet]
        life.run_step(state, tally, step, [True, bool(duty[step])])
    expected = Expectation(
        yard=yard,
        suns=suns,
        clear_w=PANELS_TIMES * injected.clear_w()[first : first + grid.n_steps],
        array_fraction=np.ones((grid.n_steps, 1)),
        house_wh=np.full(grid.n_steps, yard.always_on_w),
        duty_wh=192.0 * window,
        plugged=plugged,
        wall_wh=np.zeros((grid.n_steps, 3)),
        work_wh=work_wh,
        unsure_wh=np.zeros(grid.n_steps),
    )
    return Weeks(truth, real.always_on_w, expected, readings)
