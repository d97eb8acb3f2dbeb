"""Does a new machine fit, who pays for it, what is the limit, and what would make it fit: each by living it."""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Sequence
from concurrent.futures import Executor, Future, as_completed
from dataclasses import dataclass, replace
from typing import TypeVar

from scheduler.studies.changes import (
    Change,
    Cure,
    changed_yard,
    ease_limits,
    list_cures,
    prepare_changed,
)
from scheduler.studies.fitting import Fit, MonthFit, judge_fit
from scheduler.studies.year import PreparedYear, Tell, YearSettings, live_prepared, prepare_year
from scheduler.studies.yearrecord import YearLived
from scheduler.sun.typicalyear import TypicalYear
from scheduler.yard.models import Machine, Yard

#: So many sizes of one change are tried over a whole year; one that the worst month lets pass mostly passes the year.
MOST_YEARS_A_CURE = 2

Result = TypeVar("Result")


@dataclass(frozen=True)
class FitSettings:
    """How the question is asked.

    Parameters
    ----------
    year : YearSettings
    floor_pct : float
        The reserve is not lowered below this [%].
    """

    year: YearSettings
    floor_pct: float = 10.0


@dataclass(frozen=True)
class Limit:
    """One limit eased, all else as it is, in the worst month; whether the month then fits."""

    name: str
    words: str
    month: MonthFit
    fits: bool


@dataclass(frozen=True)
class Remedy:
    """The smallest change of its kind that makes the worst month fit, verified by its own year."""

    kind: str
    words: str
    fit: Fit


@dataclass(frozen=True)
class FitStudy:
    """The answer.

    Attributes
    ----------
    newcomers : tuple of str
    fit : Fit
        The whole time, without and with.
    alone : MonthFit or None
        The worst month lived by itself, as limits and changes are; None where everything fits. If it fits by
        itself, what goes wrong in the year is the days' before it, and there is nothing to be seen in it.
    limits : tuple of Limit
    remedies : tuple of Remedy
        Those that make it fit first.
    in_vain : tuple of str
        Kinds of changes of which none that was tried makes the worst month fit.
    lived_days : int
        Days that were lived for all this.
    """

    newcomers: tuple[str, ...]
    fit: Fit
    alone: MonthFit | None
    limits: tuple[Limit, ...]
    remedies: tuple[Remedy, ...]
    in_vain: tuple[str, ...]
    lived_days: int


def study_fit(
    yard: Yard,
    newcomers: Sequence[Machine],
    weather: TypicalYear,
    settings: FitSettings,
    pool: Executor,
    tell: Tell,
) -> FitStudy:
    """Live the year without and with new machines, and look for what would make them fit.

    Parameters
    ----------
    yard : Yard
        As it is.
    newcomers : sequence of Machine
    weather : TypicalYear
    settings : FitSettings
    pool : Executor
        Where lives are lived, several at a time if it can.
    tell : callable
        Told what is being done, and how much of it all is behind.

    Raises
    ------
    UsageError
        If no machine is needed weekly.
    """
    lab = _Lab.opened(yard, newcomers, weather, settings, pool, tell)
    lives = [lab.pool.submit(lab.way.live, each, lab.year) for each in (lab.yard, lab.joined)]
    without, with_them = lab.all_of(lives, 0.4, "the year without and with")
    lab.lived_days += 2 * lab.year.n_days
    fit = judge_fit(without, with_them, lab.names)
    if fit.fits:
        return FitStudy(lab.names, fit, None, (), (), (), lab.lived_days)
    alone, limits, cures = _look_at_worst_month(lab, fit.worst.month)
    remedies, in_vain = _find_remedies(lab, without, cures)
    return FitStudy(lab.names, fit, alone, limits, remedies, in_vain, lab.lived_days)


@dataclass(frozen=True)
class WayOfLiving:
    """The weather, and a prepared year of the yard as it is, from which others are prepared quickly."""

    weather: TypicalYear
    base: PreparedYear

    def live(self, yard: Yard, settings: YearSettings) -> YearLived:
        """Live some time in a yard."""
        return live_prepared(prepare_changed(self.base, yard, self.weather, settings), settings.number)


@dataclass
class _Lab:
    """What all lives have in common, and how far the work is."""

    way: WayOfLiving
    yard: Yard
    joined: Yard
    newcomers: tuple[Machine, ...]
    settings: FitSettings
    year: YearSettings
    pool: Executor
    tell: Tell
    lived_days: int = 0
    done_fraction: float = 0.0

    @classmethod
    def opened(
        cls,
        yard: Yard,
        newcomers: Sequence[Machine],
        weather: TypicalYear,
        settings: FitSettings,
        pool: Executor,
        tell: Tell,
    ) -> _Lab:
        """Join the yard and the new machines; both are lived on the step that suits them together."""
        joined = changed_yard(yard, machines=(*yard.machines, *newcomers))
        base = prepare_year(joined, weather, settings.year)
        year = replace(settings.year, step_minutes=base.agenda.whole.grid.step_minutes)
        way = WayOfLiving(weather, base)
        return cls(way, yard, joined, tuple(newcomers), settings, year, pool, tell)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(machine.name for machine in self.newcomers)

    def all_of(self, futures: Sequence[Future[Result]], upto: float, words: str) -> list[Result]:
        """Wait for everything, and tell how far it is, up to a fraction of all the work."""
        begun = self.done_fraction
        for number, _ in enumerate(as_completed(futures), 1):
            self.done_fraction = begun + (upto - begun) * number / len(futures)
            self.tell(f"{words}, {number} of {len(futures)}", self.done_fraction)
        self.done_fraction = upto
        return [future.result() for future in futures]

    def month_of(self, month: int) -> YearSettings:
        """Return one calendar month of the year, or as much of it as is lived."""
        first = next(
            day
            for number in range(self.year.n_days)
            if (day := self.year.first_day + dt.timedelta(days=number)).month == month
        )
        left = self.year.n_days - (first - self.year.first_day).days
        days = min(calendar.monthrange(first.year, month)[1] - first.day + 1, left)
        return replace(self.year, first_day=first, n_days=days)


@dataclass(frozen=True)
class MonthJob:
    """A month to be lived over and over, against the same month without the new machines.

    A month that fits by itself only because a need is forgiven is looked at with nothing forgiven: over the year too
    many of its kind may add up.
    """

    without: YearLived
    names: tuple[str, ...]
    way: WayOfLiving
    settings: YearSettings
    is_strict: bool = False

    def judge(self, yard: Yard) -> MonthFit:
        """Live the month in a yard and compare."""
        return judge_fit(self.without, self.way.live(yard, self.settings), self.names).months[0]

    def fits(self, month: MonthFit) -> bool:
        """Whether a month will do."""
        return month.fits_strictly if self.is_strict else month.fits


@dataclass(frozen=True)
class Found:
    """The smallest change of a kind that makes the month fit, if any, by its number; and how often it was lived."""

    number: int | None
    lives: int


def smallest_that_fits(job: MonthJob, cure: Cure) -> Found:
    """Search the changes of a kind, which run from little to much, for the first that makes the month fit."""
    if cure.is_nested:
        return _halve(job, cure.changes)
    for number, change in enumerate(cure.changes):
        if job.fits(job.judge(change.yard)):
            return Found(number, number + 1)
    return Found(None, len(cure.changes))


def _halve(job: MonthJob, changes: Sequence[Change]) -> Found:
    """More never hurts, so the last is tried first and then the middle of what is open."""
    if not job.fits(job.judge(changes[-1].yard)):
        return Found(None, 1)
    low, high, lives = 0, len(changes) - 1, 1
    while low < high:
        middle = (low + high) // 2
        lives += 1
        if job.fits(job.judge(changes[middle].yard)):
            high = middle
        else:
            low = middle + 1
    return Found(high, lives)


@dataclass(frozen=True)
class _Tried:
    cure: Cure
    number: int | None


def _look_at_worst_month(lab: _Lab, month: int) -> tuple[MonthFit, tuple[Limit, ...], list[_Tried]]:
    """Ease each limit in the worst month, and find the smallest change of each kind that makes it fit."""
    settings, name = lab.month_of(month), calendar.month_name[month]
    (without,) = lab.all_of([lab.pool.submit(lab.way.live, lab.yard, settings)], 0.42, f"{name} without")
    job = MonthJob(without, lab.names, lab.way, settings)
    (alone,) = lab.all_of([lab.pool.submit(job.judge, lab.joined)], 0.44, f"{name} by itself")
    lab.lived_days += 2 * settings.n_days
    if alone.fits_strictly:
        return alone, (), []
    job = replace(job, is_strict=alone.fits)
    eased = ease_limits(lab.joined)
    lives = [lab.pool.submit(job.judge, change.yard) for change in eased.values()]
    judged = lab.all_of(lives, 0.55, f"{name}, each limit eased")
    limits = tuple(
        Limit(limit, change.words, found, job.fits(found))
        for (limit, change), found in zip(eased.items(), judged, strict=True)
    )
    hopeful = {limit.name for limit in limits if limit.fits}
    cures = list_cures(lab.joined, lab.newcomers, lab.settings.floor_pct)
    open_cures = [cure for cure in cures if cure.limit is None or cure.limit in hopeful]
    found = lab.all_of(
        [lab.pool.submit(smallest_that_fits, job, cure) for cure in open_cures],
        0.7,
        f"{name}, what would help",
    )
    n_lives = len(eased) + sum(each.lives for each in found)
    lab.lived_days += n_lives * settings.n_days
    numbers = {cure.kind: each.number for cure, each in zip(open_cures, found, strict=True)}
    return alone, limits, [_Tried(cure, numbers.get(cure.kind)) for cure in cures]


def _find_remedies(
    lab: _Lab, without: YearLived, tried: Sequence[_Tried]
) -> tuple[tuple[Remedy, ...], tuple[str, ...]]:
    """Live the year with each change that makes the worst month fit; where none does, with one size more of each."""
    at = {each.cure.kind: each.number for each in tried if each.number is not None}
    changes = {each.cure.kind: each.cure.changes for each in tried}
    remedies: dict[str, Remedy] = {}
    for turn in range(MOST_YEARS_A_CURE):
        asked = {
            kind: changes[kind][number + turn]
            for kind, number in at.items()
            if number + turn < len(changes[kind])
        }
        if not asked or any(remedy.fit.fits for remedy in remedies.values()):
            break
        lives = [lab.pool.submit(lab.way.live, change.yard, lab.year) for change in asked.values()]
        years = lab.all_of(lives, 0.7 + 0.3 * (turn + 1) / MOST_YEARS_A_CURE, "whole years to verify")
        for (kind, change), lived in zip(asked.items(), years, strict=True):
            fit = judge_fit(without, lived, lab.names)
            lab.lived_days += lab.year.n_days
            if kind not in remedies or len(fit.months_that_fit) > len(remedies[kind].fit.months_that_fit):
                remedies[kind] = Remedy(kind, change.words, fit)
    by_success = sorted(remedies.values(), key=lambda remedy: -len(remedy.fit.months_that_fit))
    in_vain = tuple(each.cure.kind for each in tried if each.number is None)
    return tuple(by_success), in_vain
