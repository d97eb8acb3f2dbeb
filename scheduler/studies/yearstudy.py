"""All that `sunroster year` finds out, in one record, and the work of finding it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass

from scheduler.planning.foresight import Foresight
from scheduler.studies.manyyears import live_years
from scheduler.studies.stitching import Ahead, lived_ahead, seams
from scheduler.studies.year import Bookmark, PreparedYear, Tell, YearSettings, YearWalk
from scheduler.studies.yearrecord import YearLived
from scheduler.studies.yearsums import Interval, YearSums, readiness_interval
from scheduler.yard.models import Priority

#: Given how far the year has come and the resampled years that are done, now and then.
KeepState = Callable[[Bookmark, tuple[YearSums, ...]], None]

#: From evening to evening it is kept once in so many; whoever is killed in between lives those days again.
KEPT_EVERY = 7


@dataclass(frozen=True)
class YearStudy:
    """A year and what stands beside it.

    Attributes
    ----------
    settings : YearSettings
    timezone : str
    step_minutes : int
    year : YearLived
        The typical year's days in their order.
    resampled : tuple of YearSums
    rules : tuple of YearLived
        The same year under the rules of thumb.
    foresight : Foresight or None
        What nobody could better.
    """

    settings: YearSettings
    timezone: str
    step_minutes: int
    year: YearLived
    resampled: tuple[YearSums, ...] = ()
    rules: tuple[YearLived, ...] = ()
    foresight: Foresight | None = None

    @property
    def is_whole(self) -> bool:
        """Whether every day was lived."""
        return len(self.year.days) == self.settings.n_days

    @property
    def score(self) -> dict[Priority, float]:
        """Needs met over the most that nobody could better, by class, as fractions."""
        most = {} if self.foresight is None else self.foresight.met_most
        return {name: self.year.readiness(name).ready / count for name, count in most.items() if count}

    def interval(
        self, priority: Priority | None = None, machine: str | None = None, month: int | None = None
    ) -> Interval | None:
        """Return the interval of a readiness over the resampled years; None without any."""
        return readiness_interval(self.resampled, priority, machine, month) if self.resampled else None


@dataclass
class YearWork:
    """The work, so that what is done can be shown wherever it is stopped.

    Parameters
    ----------
    prepared : PreparedYear
    n_resampled : int
    workers : callable
        Opens the executor that lives the resampled years.
    n_parts : int
        Into how many parts the typical year is cut, to be lived at the same time.
    yardsticks : bool
        Whether the year is lived under the rules of thumb and bounded by perfect foresight too.
    keep : callable, optional
    begun : Bookmark, optional
        Where the year was left.
    resampled : sequence of YearSums
        Those that are done already.
    """

    prepared: PreparedYear
    n_resampled: int
    workers: Callable[[], AbstractContextManager[Executor]]
    n_parts: int = 1
    yardsticks: bool = False
    keep: KeepState | None = None
    begun: Bookmark | None = None
    resampled: Sequence[YearSums] = ()

    def __post_init__(self) -> None:
        self._walk = YearWalk.begun(self.prepared, at=self.begun)
        self._done = {sums.number: sums for sums in self.resampled}
        self._rules: tuple[YearLived, ...] = ()
        self._foresight: Foresight | None = None

    def do(self, tell: Tell) -> None:
        """Do all of it."""
        self._live(tell)
        self._live_resampled(tell)
        if self.yardsticks:
            from scheduler.studies.hindsight import bound_year
            from scheduler.studies.yardsticks import live_rules_of_thumb

            self._rules = live_rules_of_thumb(self.prepared, tell=tell)
            tell("perfect foresight", 0.0)
            self._foresight = bound_year(self.prepared, 0, self._walk.lived())

    def so_far(self) -> YearStudy:
        """Return what has been found out."""
        numbers = sorted(number for number in self._done if number <= self.n_resampled)
        return YearStudy(
            settings=self.prepared.settings,
            timezone=self.prepared.yard.site.timezone,
            step_minutes=self.prepared.agenda.whole.grid.step_minutes,
            year=self._walk.lived(),
            resampled=tuple(self._done[number] for number in numbers),
            rules=self._rules,
            foresight=self._foresight,
        )

    def _live(self, tell: Tell) -> None:
        evenings = 0
        try:
            with self._ahead() as ahead:
                while not self._walk.is_done:
                    if not ahead.take_over(self._walk):
                        self._walk.go_on()
                    tell(self._walk.told(), self._walk.done_fraction)
                    evenings += 1
                    if evenings % KEPT_EVERY == 0:
                        self._keep_state()
        finally:
            self._keep_state()

    @contextmanager
    def _ahead(self) -> Iterator[Ahead]:
        """Have later parts of the year lived by other processes, where that is worth it."""
        now = self._walk.edge
        if all(begin <= now for begin, _, _ in seams(self.prepared, self.n_parts)):
            yield Ahead()
            return
        with self.workers() as executor, lived_ahead(self.prepared, executor, self.n_parts, now) as ahead:
            yield ahead

    def _live_resampled(self, tell: Tell) -> None:
        numbers = [number for number in range(1, self.n_resampled + 1) if number not in self._done]
        if not numbers:
            return

        def keep(sums: YearSums) -> None:
            self._done[sums.number] = sums
            tell(
                f"resampled years, {len(self._done)} of {self.n_resampled}",
                len(self._done) / self.n_resampled,
            )
            self._keep_state()

        tell(f"resampled years, {len(self._done)} of {self.n_resampled}", len(self._done) / self.n_resampled)
        with self.workers() as executor:
            live_years(self.prepared, numbers, executor, keep)

    def _keep_state(self) -> None:
        if self.keep is not None:
            self.keep(self._walk.bookmark(), tuple(self._done[number] for number in sorted(self._done)))
