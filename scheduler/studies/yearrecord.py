"""What became of a year: day by day, and summed up."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from scheduler.units import READY_TOLERANCE_WH
from scheduler.yard.models import Priority


@dataclass(frozen=True)
class NeedLived:
    """One need as it came due; `have_wh` stands before the work is taken [Wh]."""

    machine: str
    priority: Priority
    need_wh: float
    have_wh: float

    @property
    def ready(self) -> bool:
        """R12."""
        return self.have_wh >= self.need_wh - READY_TOLERANCE_WH

    @property
    def short_wh(self) -> float:
        """What was missing [Wh]."""
        return 0.0 if self.ready else self.need_wh - self.have_wh


@dataclass(frozen=True)
class DayLived:
    """One local day of the yard's life.

    Attributes
    ----------
    date : date
    typical_day : int
        Which day of the typical year's weather it had, 0 for 1 January.
    hours : float
        That it has: 23 or 25 where the clocks change.
    sun_wh : float
        What the arrays could give [Wh].
    dull_wh, likely_wh, bright_wh : float
        The same as forecast the evening before [Wh].
    curtailed_wh : float
        Of the sun, what found no room [Wh].
    house_wh : tuple of float
        Drawn by each house load, at the wall [Wh].
    machines_wh : tuple of float
        Drawn by each machine's charger, at the wall [Wh].
    inverter_loss_wh : float
        Idle draw and conversion [Wh].
    bank_in_loss_wh, bank_out_loss_wh : float
        Lost in charging and discharging the bank [Wh].
    bank_out_wh : float
        Taken out of the bank's store [Wh].
    work_wh : tuple of float
        Taken out of each machine's battery by its work [Wh].
    unserved_wh : float
        Asked of an empty bank, or of one that cannot give so much at a time, and not had, at the wall [Wh].
    level_wh, lowest_wh : float
        The bank at the day's end, and at its lowest [Wh].
    charge_wh : tuple of float
        Each machine's battery at the day's end [Wh].
    at_reserve_h, below_reserve_h, ac_off_h : float
        Hours that end with the bank showing the reserve or less, with the bank below the reserve, and hours
        without AC [h].
    outside_window_h : float
        Hours in which the shed was too cold or too hot for a battery that does not protect itself [h] (R8).
    misplugged_h : float
        Machine-hours in an outlet that was on while it was too cold or too hot for the battery, which does not
        protect itself: what no plan does (R8) and rules of thumb do [h].
    lines_followed, lines_spared : int
        How often an "if it shows at least" let a machine be plugged in, and an "if it shows less" kept one out.
    unproven_plans : int
        Plans made on this day whose aims were not all proven.
    needs : tuple of NeedLived
    """

    date: dt.date
    typical_day: int
    hours: float
    sun_wh: float
    dull_wh: float
    likely_wh: float
    bright_wh: float
    curtailed_wh: float
    house_wh: tuple[float, ...]
    machines_wh: tuple[float, ...]
    inverter_loss_wh: float
    bank_in_loss_wh: float
    bank_out_loss_wh: float
    bank_out_wh: float
    work_wh: tuple[float, ...]
    unserved_wh: float
    level_wh: float
    lowest_wh: float
    charge_wh: tuple[float, ...]
    at_reserve_h: float
    below_reserve_h: float
    ac_off_h: float
    outside_window_h: float
    misplugged_h: float
    lines_followed: int
    lines_spared: int
    unproven_plans: int
    needs: tuple[NeedLived, ...]


@dataclass(frozen=True)
class Readiness:
    """How often machines were ready, and how much was missing where they were not [Wh]."""

    ready: int
    asked: int
    short_wh: float

    @property
    def fraction(self) -> float:
        """Ready of asked; 1 where nothing was asked."""
        return self.ready / self.asked if self.asked else 1.0

    @classmethod
    def of(cls, needs: Iterable[NeedLived]) -> Readiness:
        """Count needs."""
        ready, asked, short_wh = 0, 0, 0.0
        for need in needs:
            ready, asked, short_wh = ready + need.ready, asked + 1, short_wh + need.short_wh
        return cls(ready, asked, short_wh)


@dataclass(frozen=True)
class YearLived:
    """A yard's year.

    Attributes
    ----------
    site, source : str
        Whose, and under what sun.
    hand : str
        Who plugged: the plan's page, or a rule of thumb.
    machines, house_loads : tuple of str
        Names, in the order of the days' figures.
    machine_capacity_wh : tuple of float
    bank_capacity_wh, reserve_wh : float
    start_level_wh : float
        The bank as the first day begins [Wh].
    start_charge_wh : tuple of float
        Each machine's battery then [Wh].
    days : tuple of DayLived
    notes : tuple of str
        What was assumed or left out, for the reader.
    planning_s : float
        Time spent planning; no part of the result [s].
    """

    site: str
    source: str
    hand: str
    machines: tuple[str, ...]
    house_loads: tuple[str, ...]
    machine_capacity_wh: tuple[float, ...]
    bank_capacity_wh: float
    reserve_wh: float
    start_level_wh: float
    start_charge_wh: tuple[float, ...]
    days: tuple[DayLived, ...]
    notes: tuple[str, ...]
    planning_s: float = field(default=0.0, compare=False)

    def needs(
        self, priority: Priority | None = None, machine: str | None = None, month: int | None = None
    ) -> list[NeedLived]:
        """Return the needs that came due, all of them or those of a class, a machine, a calendar month."""
        return [
            need
            for day in self.days
            if month in (None, day.date.month)
            for need in day.needs
            if priority in (None, need.priority) and machine in (None, need.machine)
        ]

    def readiness(
        self, priority: Priority | None = None, machine: str | None = None, month: int | None = None
    ) -> Readiness:
        """Return how often machines were ready; arguments as of `needs`."""
        return Readiness.of(self.needs(priority, machine, month))

    def total(self, of: Callable[[DayLived], float], month: int | None = None) -> float:
        """Sum something over the days, or over those of a calendar month."""
        return sum(of(day) for day in self.days if month in (None, day.date.month))

    @property
    def months(self) -> tuple[int, ...]:
        """Calendar months in the order in which they were lived."""
        return tuple(dict.fromkeys(day.date.month for day in self.days))

    @property
    def bank_change_wh(self) -> float:
        """What the bank holds more at the end than at the start [Wh]."""
        return (self.days[-1].level_wh if self.days else self.start_level_wh) - self.start_level_wh

    @property
    def used_fraction(self) -> float:
        """Of the sun that the arrays could give, what was taken."""
        sun_wh = self.total(lambda day: day.sun_wh)
        return 1.0 - self.total(lambda day: day.curtailed_wh) / sun_wh if sun_wh else 0.0

    @property
    def bank_full_cycles(self) -> float:
        """Equivalent full cycles of the bank: what came out of its store over its capacity."""
        return self.total(lambda day: day.bank_out_wh) / self.bank_capacity_wh

    @property
    def machine_full_cycles(self) -> tuple[float, ...]:
        """Equivalent full cycles of each machine's battery: its work over its capacity."""
        return tuple(
            self.total(lambda day, at=at: day.work_wh[at]) / capacity_wh  # type: ignore[misc]
            for at, capacity_wh in enumerate(self.machine_capacity_wh)
        )

    @property
    def residual_wh(self) -> float:
        """What the two sides of the year's energy differ by [Wh]: rounding, no more.

        Notes
        -----
        ``sun = curtailed + house + chargers + inverter loss + bank losses + change of the bank``.
        """
        out_wh = self.total(
            lambda day: (
                day.curtailed_wh
                + sum(day.house_wh)
                + sum(day.machines_wh)
                + day.inverter_loss_wh
                + day.bank_in_loss_wh
                + day.bank_out_loss_wh
            )
        )
        return self.total(lambda day: day.sun_wh) - out_wh - self.bank_change_wh
