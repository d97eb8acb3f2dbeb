"""What more or fewer panels and bank modules would bring: readiness over a grid of sizes, some days of each month.

Each size of the yard lives the same days with the same forecasts: in the middle of every month a run of days, begun
two days before it from the file's levels, those two not counted.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from concurrent.futures import Executor, as_completed
from dataclasses import dataclass, replace

from scheduler.studies.changes import prepare_changed, with_modules, with_panels
from scheduler.studies.worstmonth import WorstMonth, worst_month
from scheduler.studies.year import PreparedYear, Tell, YearSettings, live_prepared, prepare_year
from scheduler.studies.yearrecord import NeedLived, Readiness
from scheduler.sun.typicalyear import TypicalYear
from scheduler.yard.models import Yard

#: Days lived before those that count, so that the file's levels matter less.
LEAD_IN_DAYS = 2

#: The run of days lies around this day of the month.
MIDDLE_OF_MONTH = 15

#: Sizes that are tried unless told, as multiples of what stands there.
PANEL_MULTIPLES = (0.6, 0.8, 1.0, 1.25, 1.5, 2.0)
MODULE_MULTIPLES = (0.5, 1.0, 1.5, 2.0, 3.0)


@dataclass(frozen=True)
class SizePoint:
    """One size of the yard, and how ready its machines were over the days that count.

    Attributes
    ----------
    panels, modules : int
        All arrays together; in the bank.
    array_w, bank_wh : float
        Rated power [W], capacity [Wh].
    must, all : Readiness
        Of the must class, and of all classes.
    must_by_month : tuple of Readiness
        January to December.
    """

    panels: int
    modules: int
    array_w: float
    bank_wh: float
    must: Readiness
    all: Readiness
    must_by_month: tuple[Readiness, ...]


@dataclass(frozen=True)
class Sizing:
    """The grid.

    Attributes
    ----------
    points : tuple of SizePoint
        Panels rising, and for each the modules rising.
    today : SizePoint
        The yard as it stands, one of them.
    days_a_month : int
        That count.
    rule : WorstMonth
        What the worst-month method says of the yard as it stands.
    """

    points: tuple[SizePoint, ...]
    today: SizePoint
    days_a_month: int
    rule: WorstMonth

    @property
    def panels(self) -> tuple[int, ...]:
        """Sizes of the array, rising."""
        return tuple(sorted({point.panels for point in self.points}))

    @property
    def modules(self) -> tuple[int, ...]:
        """Sizes of the bank, rising."""
        return tuple(sorted({point.modules for point in self.points}))

    def at(self, panels: int, modules: int) -> SizePoint:
        """Return one size."""
        return next(point for point in self.points if (point.panels, point.modules) == (panels, modules))


@dataclass(frozen=True)
class SizeGrid:
    """Sizes to try; the yard's own are tried too.

    Parameters
    ----------
    panels, modules : tuple of int
        Empty for the usual multiples of what stands there.
    days_a_month : int
        How many days of each month count.
    """

    panels: tuple[int, ...] = ()
    modules: tuple[int, ...] = ()
    days_a_month: int = 7


def study_sizes(
    yard: Yard, weather: TypicalYear, grid: SizeGrid, settings: YearSettings, pool: Executor, tell: Tell
) -> Sizing:
    """Live the same days in every size of the yard.

    Parameters
    ----------
    yard : Yard
    weather : TypicalYear
    grid : SizeGrid
    settings : YearSettings
        Its first day says which year's weekdays and clock changes hold.
    pool : Executor
        Where lives are lived, several at a time if it can.
    tell : callable
        Told how many sizes are done, and what fraction of them.

    Raises
    ------
    UsageError
        If no machine is needed weekly.
    """
    panels, modules = sum(array.panels for array in yard.arrays), len(yard.bank.modules_wh)
    sizes = [
        (many, deep)
        for many in _sizes(grid.panels, panels, PANEL_MULTIPLES, len(yard.arrays))
        for deep in _sizes(grid.modules, modules, MODULE_MULTIPLES, 1)
    ]
    futures = [
        pool.submit(live_sampled, resized(yard, *size), weather, settings, grid.days_a_month)
        for size in sizes
    ]
    for number, _ in enumerate(as_completed(futures), 1):
        tell(f"{number} of {len(sizes)} sizes", number / len(sizes))
    points = tuple(
        _point(resized(yard, *size), *size, future.result())
        for size, future in zip(sizes, futures, strict=True)
    )
    today = next(point for point in points if (point.panels, point.modules) == (panels, modules))
    return Sizing(points, today, grid.days_a_month, worst_month(yard, weather))


def _sizes(asked: Sequence[int], own: int, multiples: Sequence[float], least: int) -> list[int]:
    wanted = asked or [round(multiple * own) for multiple in multiples]
    return sorted({own, *(max(size, least) for size in wanted)})


def resized(yard: Yard, panels: int, modules: int) -> Yard:
    """Return the yard with so many panels and bank modules."""
    more_panels = panels - sum(array.panels for array in yard.arrays)
    more_modules = modules - len(yard.bank.modules_wh)
    larger = with_panels(yard, more_panels) if more_panels else yard
    return with_modules(larger, more_modules) if more_modules else larger


def live_sampled(
    yard: Yard, weather: TypicalYear, settings: YearSettings, days_a_month: int
) -> tuple[tuple[NeedLived, ...], ...]:
    """Live a run of days in the middle of each month; return the needs that count, January to December."""
    prepared = prepare_year(yard, weather, settings)
    return tuple(_live_run(prepared, weather, month, days_a_month) for month in range(1, 13))


def _live_run(prepared: PreparedYear, weather: TypicalYear, month: int, n_days: int) -> tuple[NeedLived, ...]:
    first = dt.date(prepared.settings.first_day.year, month, MIDDLE_OF_MONTH) - dt.timedelta(
        days=n_days // 2 + LEAD_IN_DAYS
    )
    step_minutes = prepared.agenda.whole.grid.step_minutes
    run = replace(prepared.settings, first_day=first, n_days=n_days + LEAD_IN_DAYS, step_minutes=step_minutes)
    lived = live_prepared(prepare_changed(prepared, prepared.yard, weather, run), run.number)
    return tuple(need for day in lived.days[LEAD_IN_DAYS:] for need in day.needs)


def _point(yard: Yard, panels: int, modules: int, months: Sequence[Sequence[NeedLived]]) -> SizePoint:
    def must(needs: Sequence[NeedLived]) -> Readiness:
        return Readiness.of(need for need in needs if need.priority == "must")

    every = [need for needs in months for need in needs]
    return SizePoint(
        panels,
        modules,
        sum(array.rated_w for array in yard.arrays),
        yard.bank.capacity_wh,
        must(every),
        Readiness.of(every),
        tuple(must(needs) for needs in months),
    )
