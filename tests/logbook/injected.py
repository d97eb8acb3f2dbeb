"""Days of a made-up yard with something the matter: lived by another physics than the diagnosis has.

The yard lives by `scheduler.studies.living` under the typical year's own hours; what is expected comes from a forecast
of the evening before that errs as forecasts do. Displays are off by 2 %, one standard deviation. The hand's words for
the sky are those of the opaque cloud that the station saw in the same hours, one time in five the next word to it.
"""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise
from typing import Any

import numpy as np

from scheduler.logbook.causes import Cause
from scheduler.logbook.expectation import Expectation, Reading
from scheduler.studies.forecasts import DefaultSpread
from scheduler.studies.living import Life, Tally, YardState
from scheduler.studies.year import PreparedYear, YearSettings, prepare_year
from scheduler.studies.yearsky import YearSky, draw_sky
from scheduler.sun.skyterms import SKY_TERMS, SkySpell
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import FloatArray
from scheduler.yard.agenda import Agenda, Span, build_agenda
from scheduler.yard.models import Array, Bank, HouseLoad, Inverter, Machine, Outlet, Visits, Yard
from tests.benchmarks.climates import climates
from tests.studies.small_yard import SITE, daily, greensboro

ERROR_PCT = 2.0
SLIPS_FRACTION = 0.2
HOURS = 96
VISITS = ("07:00", "18:00")  #: a visit before the day's work and one after it

#: A reading counts as one with the sun up if since the one before the likely sun brought this part of the bank.
SUN_UP_FRACTION = 0.05
SUNNY_READINGS = 3


def yard_of(**changed: Any) -> Yard:
    """One array of two strings, a bank of 10 kWh, a house, three machines."""
    tables = {
        "site": SITE,
        "arrays": (
            Array(
                name="roof", panels=8, panel_w=400.0, tilt_deg=25.0, azimuth_deg=180.0, series=4, parallel=2
            ),
        ),
        "bank": Bank(modules_wh=(5120.0, 5120.0), reserve_pct=20.0, level_pct=50.0),
        "inverter": Inverter(continuous_w=3000.0, idle_w=28.0),
        "outlets": tuple(Outlet(name=name, kind="ac") for name in ("left", "middle", "right")),
        "house_loads": (
            HouseLoad(name="fridge", watts=64.0, always_on=True),
            HouseLoad(
                name="dryer", watts=320.0, hours_per_day=6.0, window=("08:00", "20:00"), min_block_h=2.0
            ),
        ),
        "visits": Visits(times=VISITS),
        "machines": (
            Machine(
                name="tractor", battery_wh=9000.0, charger_w=1300.0, charge_pct=30.0, self_protecting=True
            ),
            Machine(name="mower", battery_wh=4000.0, charger_w=480.0, charge_pct=30.0, self_protecting=True),
            Machine(name="cart", battery_wh=1440.0, charger_w=260.0, charge_pct=30.0, self_protecting=True),
        ),
    }
    return Yard.model_validate({**tables, **changed})


@dataclass(frozen=True)
class Fault:
    """What is injected: by what the sun is multiplied or limited, what is added, what is off."""

    cause: Cause
    sun_fraction: float = 1.0
    limit_fraction: float = np.inf
    extra_w: float = 0.0
    dead: str | None = None
    inverter_off: bool = False
    stuck: bool = False
    capacity_fraction: float = 1.0


@dataclass(frozen=True)
class Case:
    """What a diagnosis gets to see, and what was the matter."""

    fault: Fault
    expected: Expectation
    readings: list[Reading]
    first_charge_pct: dict[str, float]


SOUND = Fault(Cause.NONE)

#: From steps to the number of a sky term, None in the dark.
WordOf = Callable[[list[int]], int | None]

Draw = Callable[[np.random.Generator, str], Fault]

FAULTS: dict[Cause, Draw] = {
    Cause.NONE: lambda random, name: Fault(Cause.NONE),
    Cause.EXTRA_LOAD: lambda random, name: Fault(Cause.EXTRA_LOAD, extra_w=random.uniform(100.0, 400.0)),
    Cause.ARRAY_OFF: lambda random, name: Fault(Cause.ARRAY_OFF, sun_fraction=0.0),
    Cause.STRING_OFF: lambda random, name: Fault(Cause.STRING_OFF, sun_fraction=0.5),
    Cause.WEAK_ARRAY: lambda random, name: Fault(Cause.WEAK_ARRAY, sun_fraction=random.uniform(0.3, 0.7)),
    Cause.CLIPPED: lambda random, name: Fault(Cause.CLIPPED, limit_fraction=random.uniform(0.25, 0.5)),
    Cause.CHARGER_OFF: lambda random, name: Fault(Cause.CHARGER_OFF, dead=name),
    Cause.INVERTER_OFF: lambda random, name: Fault(Cause.INVERTER_OFF, inverter_off=True),
    Cause.METER_STUCK: lambda random, name: Fault(Cause.METER_STUCK, stuck=True),
    Cause.SMALL_BANK: lambda random, name: Fault(
        Cause.SMALL_BANK, capacity_fraction=random.uniform(0.5, 0.7)
    ),
}


@dataclass(frozen=True)
class Narrowed:
    """A spread of which only a part is left, around the same forecast: the weather as it is known after the day."""

    left_fraction: float

    def dull_fraction(self, likely_fraction: FloatArray) -> FloatArray:
        """Clearness that 9 days in 10 exceed."""
        whole = DefaultSpread().dull_fraction(likely_fraction)
        return likely_fraction - self.left_fraction * (likely_fraction - whole)

    def bright_fraction(self, likely_fraction: FloatArray) -> FloatArray:
        """Clearness that 1 day in 10 exceeds."""
        whole = DefaultSpread().bright_fraction(likely_fraction)
        return likely_fraction + self.left_fraction * (whole - likely_fraction)


@functools.cache
def prepared_year() -> PreparedYear:
    """The typical year's sun on the yard's array."""
    return prepare_year(yard_of(machines=(daily("cart", 150.0),)), greensboro(), YearSettings(step_minutes=60))


@functools.cache
def made_sky(spread_fraction: float) -> YearSky:
    """The sun that comes over a year, and what is said of it with so much of a day-ahead forecast's spread."""
    prepared = prepared_year()
    return draw_sky(prepared.suns, prepared.agenda.whole.grid, Narrowed(spread_fraction), 20, 0)


@functools.cache
def clear_w() -> FloatArray:
    """The array's power under a clear sky over the year of `prepared_year`."""
    suns, grid = prepared_year().suns, prepared_year().agenda.whole.grid
    days, hours = _days_and_hours(suns.utc_offset)
    return suns.power_w(np.arange(365), np.ones(365))[days, hours][: grid.n_steps]


@functools.cache
def opaque_cloud_fraction() -> FloatArray:
    """How much of the sky was covered in each hour of the year of `prepared_year`."""
    days, hours = _days_and_hours(dt.timedelta(hours=-5))
    return climates()[0].opaque_cloud_fraction[days, hours]


def _days_and_hours(offset: dt.timedelta) -> tuple[np.ndarray, np.ndarray]:
    grid = prepared_year().agenda.whole.grid
    first = grid.start + offset
    number = np.arange(grid.n_steps) + (first.timetuple().tm_yday - 1) * 24 + first.hour
    return number // 24 % 365, number % 24


class Words(StrEnum):
    """How much the hand says of the sky."""

    SINCE_VISIT = "a word for the time since the last visit"
    HALF_DAYS = "a word for each half of the day"


def with_words(
    random: np.random.Generator, readings: list[Reading], agenda: Agenda, word_of: WordOf, words: Words
) -> list[Reading]:
    """Say at each reading what the sky was like since the one before, of the same day."""
    grid = agenda.grid
    told = [readings[0]]
    for before, reading in pairwise(readings):
        first, last = (int((one.at - grid.start) / grid.step) for one in (before, reading))
        today = [step for step in range(first, last) if grid.local(step).date() == grid.local(last - 1).date()]
        parts = [today]
        if words is Words.HALF_DAYS:
            parts = [[step for step in today if (grid.local(step).hour < 12) == half] for half in (True, False)]
        spells = (_spell(random, agenda, part, word_of) for part in parts if part)
        told.append(replace(reading, skies=tuple(spell for spell in spells if spell)))
    return told


def number_of_words(part: slice) -> WordOf:
    """Which term the sky of some steps has, by the oktas that the station saw."""
    clear, cloud_fraction = clear_w()[part], opaque_cloud_fraction()[part]

    def word_of(steps: list[int]) -> int | None:
        lit_w = clear[steps]
        if not lit_w.any():
            return None
        oktas = round(8.0 * float(np.average(cloud_fraction[steps], weights=lit_w)))
        return next(at for at, term in enumerate(SKY_TERMS) if oktas <= term.oktas[1])

    return word_of


def _spell(random: np.random.Generator, agenda: Agenda, part: list[int], word_of: WordOf) -> SkySpell | None:
    number = word_of(part)
    if number is None:
        return None
    if random.random() < SLIPS_FRACTION:
        near = [at for at in (number - 1, number + 1) if 0 <= at < len(SKY_TERMS)]
        number = int(random.choice(near))
    return SkySpell(agenda.grid.edge(part[0]), agenda.grid.edge(part[-1] + 1), SKY_TERMS[number])


def make_case(
    cause: Cause, seed: int, hours: int = HOURS, spread_fraction: float = 1.0, words: Words | None = None
) -> Case:
    """Draw a day of the year, a fault of a kind, and what the displays show from the evening before on.

    With `words` the hand says at each visit what the sky was like since the one before.
    """
    random = np.random.default_rng([seed, list(FAULTS).index(cause)])
    levels = {
        "level_pct": round(random.uniform(40.0, 65.0)),
        "charges": [round(random.uniform(15.0, 45.0)) for _ in range(3)],
    }
    yard = _at(yard_of(), levels)
    sky, grid = made_sky(spread_fraction), prepared_year().agenda.whole.grid
    day = int(random.integers(1, 355))
    begin = grid.local(0).date() + dt.timedelta(days=day)
    start = dt.datetime.combine(begin, dt.time(17), tzinfo=yard.site.zone).astimezone(dt.UTC)
    agenda = build_agenda(yard, Span(now=start, start=start, hours=hours, step_minutes=60))
    part = slice(grid.index_of(start), grid.index_of(start) + agenda.grid.n_steps)
    suns = ThreeSuns(
        agenda.grid,
        sky.dull_w[part],
        sky.likely_w[part],
        sky.bright_w[part],
        sky.shed_temp_c[part],
        "made up",
    )
    duty = [blocks(random, agenda) for _ in range(2)]
    plugged = _plugged(random, yard, agenda, suns, duty[0])
    at_work = np.flatnonzero(plugged[:24].any(axis=0))
    fault = FAULTS[cause](random, yard.machines[int(random.choice(at_work))].name)
    sound = _live(yard, agenda, suns.likely_w, suns.shed_temp_c, plugged, duty[0], SOUND)
    lived = _live(yard, agenda, sky.true_w[part], suns.shed_temp_c, plugged, duty[1], fault)
    expected = Expectation(
        yard=yard,
        suns=suns,
        clear_w=clear_w()[part],
        array_fraction=np.ones((agenda.grid.n_steps, 1)),
        house_wh=np.full(agenda.grid.n_steps, 64.0),
        duty_wh=160.0 * in_window(agenda),
        plugged=plugged,
        wall_wh=sound.wall_wh,
        work_wh=np.zeros((agenda.grid.n_steps + 1, 3)),
        unsure_wh=np.zeros(agenda.grid.n_steps),
    )
    readings = _readings(random, yard, agenda, suns, lived, fault.stuck)
    if words is not None:
        said = np.random.default_rng([seed, list(FAULTS).index(cause), 7])
        readings = with_words(said, readings, agenda, number_of_words(part), words)
    shown = {machine.name: float(machine.charge_pct) for machine in yard.machines}
    return Case(fault, expected, readings, shown)


def _at(yard: Yard, levels: dict[str, Any]) -> Yard:
    machines = tuple(
        machine.model_copy(update={"charge_pct": float(pct)})
        for machine, pct in zip(yard.machines, levels["charges"], strict=True)
    )
    bank = yard.bank.model_copy(update={"level_pct": float(levels["level_pct"])})
    return yard.model_copy(update={"machines": machines, "bank": bank})


@dataclass(frozen=True)
class Lived:
    level_fraction: FloatArray
    charge_wh: FloatArray
    wall_wh: FloatArray


def _plugged(
    random: np.random.Generator, yard: Yard, agenda: Agenda, suns: ThreeSuns, duty: FloatArray
) -> np.ndarray:
    """Machines plugged in from visit to visit at random, as long as a dull sun would leave the reserve."""
    plugged = np.zeros((agenda.grid.n_steps, 3), dtype=bool)
    visits = [*agenda.visits, agenda.grid.n_steps]
    spells = [(first, last, machine) for first, last in pairwise(visits) for machine in range(3)]
    for first, last, machine in random.permutation(spells):
        tried = plugged.copy()
        tried[first:last, machine] = True
        lived = _live(yard, agenda, suns.dull_w, suns.shed_temp_c, tried, duty, SOUND)
        if lived.level_fraction.min() >= yard.bank.reserve_pct / 100.0:
            plugged = tried
    if not plugged[:24].any():
        plugged[visits[0] : visits[1], 2] = True
    return plugged


def in_window(agenda: Agenda) -> FloatArray:
    inside = np.zeros(agenda.grid.n_steps)
    for duty in agenda.duties:
        inside[duty.first : duty.last] = 1.0
    return inside


def blocks(random: np.random.Generator, agenda: Agenda) -> FloatArray:
    """When a load that switches by itself runs: three blocks of two hours somewhere in its window."""
    on = np.zeros(agenda.grid.n_steps)
    for duty in agenda.duties:
        starts = np.arange(duty.first, duty.last - 1, 2)
        for start in random.permutation(starts)[: duty.on_steps // 2]:
            on[start : start + 2] = 1.0
    return on


def _live(
    yard: Yard,
    agenda: Agenda,
    sun_w: FloatArray,
    shed_temp_c: FloatArray,
    plugged: np.ndarray,
    duty: FloatArray,
    fault: Fault,
) -> Lived:
    bank = yard.bank.model_copy(
        update={"modules_wh": tuple(fault.capacity_fraction * wh for wh in yard.bank.modules_wh)}
    )
    loads = yard.house_loads
    if fault.extra_w:
        at_wall_w = fault.extra_w * yard.inverter.efficiency
        loads = (*loads, HouseLoad(name="unknown", watts=at_wall_w, always_on=True))
    inverter = yard.inverter
    if fault.inverter_off:
        loads, inverter = (), inverter.model_copy(update={"idle_w": 0.0})
    real = yard.model_copy(update={"bank": bank, "house_loads": loads, "inverter": inverter})
    clear_w = float(sun_w.max())
    given_w = np.minimum(fault.sun_fraction * sun_w, fault.limit_fraction * clear_w)
    life, state = Life.of(real, agenda, given_w, shed_temp_c), YardState.of(real)
    tally = Tally.begun(real, state.level_wh)
    levels, charges = [state.level_wh], [list(state.charge_wh)]
    for step in range(agenda.grid.n_steps):
        for number, machine in enumerate(real.machines):
            works = not fault.inverter_off and machine.name != fault.dead
            state.outlet[number] = real.outlets[number].name if plugged[step, number] and works else None
        running = [bool(load.always_on or duty[step]) for load in loads]
        life.run_step(state, tally, step, running)
        levels.append(state.level_wh)
        charges.append(list(state.charge_wh))
    charge_wh = np.array(charges)
    efficiencies = np.array([machine.charger_efficiency for machine in real.machines])
    return Lived(np.array(levels) / bank.capacity_wh, charge_wh, np.diff(charge_wh, axis=0) / efficiencies)


def _readings(
    random: np.random.Generator, yard: Yard, agenda: Agenda, suns: ThreeSuns, lived: Lived, stuck: bool
) -> list[Reading]:
    """What the displays show at each visit, until the sun was up before three of them."""
    readings: list[Reading] = []
    sunny, before = 0, 0
    for edge in sorted({0, *agenda.visits}):
        bank_pct = shown(random, lived.level_fraction[edge])
        if stuck and readings:
            bank_pct = readings[0].bank_pct or 0.0
        machines = {
            machine.name: shown(random, lived.charge_wh[edge, number] / machine.capacity_wh)
            for number, machine in enumerate(yard.machines)
        }
        readings.append(Reading(agenda.grid.edge(edge), bank_pct, machines))
        sun_wh = float(suns.likely_w[before:edge].sum()) * agenda.grid.step_h
        sunny += sun_wh >= SUN_UP_FRACTION * yard.bank.capacity_wh
        before = edge
        if sunny == SUNNY_READINGS:
            break
    return readings


def shown(random: np.random.Generator, fraction: float) -> float:
    return float(np.clip(np.round(100.0 * fraction + random.normal(0.0, ERROR_PCT)), 0.0, 100.0))
