"""One year on several cores, to the last digit the same as on one.

A day needs the evening before it, so a year cannot simply be cut up. But a yard forgets: once bank and batteries have
been full, it no longer matters how they stood before. So later parts of the year are begun at the same time as the
first, some days before their turn and on a guess: everything full. Whoever comes from the front takes a part over on
the first evening on which everything stands there exactly as in it, and lives on by himself until then. A guess that
never comes true costs time and nothing else.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from dataclasses import dataclass

from scheduler.studies.living import Tally, YardState
from scheduler.studies.year import Bookmark, PreparedYear, YearWalk
from scheduler.studies.yearrecord import DayLived

#: Days that a part is begun before its turn, for the guess to come true.
LEAD_DAYS = 7

#: Shorter parts than this are not worth a process [days].
SHORTEST_PART_DAYS = 60


@dataclass(frozen=True)
class Part:
    """Some days lived on a guess.

    Attributes
    ----------
    evenings : dict of int to tuple
        By the edge on which a plan was made, how everything stood.
    days : tuple of DayLived
    last : Bookmark
        How it ended.
    """

    evenings: dict[int, tuple[YardState, Tally]]
    days: tuple[DayLived, ...]
    last: Bookmark


def live_part(prepared: PreparedYear, begin: int, end: int) -> Part:
    """Live from one of the year's evenings to another, from a full yard on."""
    walk = YearWalk.begun(prepared, at=_full(prepared, begin))
    evenings = {}
    while not walk.is_done and walk.edge < end:
        walk.go_on()
        mark = walk.bookmark()
        evenings[mark.edge] = (mark.state, mark.tally)
    return Part(evenings, walk.bookmark().days, walk.bookmark())


def _full(prepared: PreparedYear, edge: int) -> Bookmark:
    yard = prepared.yard
    state = YardState.of(yard)
    state.level_wh = yard.bank.capacity_wh
    state.charge_wh = [machine.capacity_wh for machine in yard.machines]
    return Bookmark(edge, state, Tally.begun(yard, state.level_wh), ())


def seams(prepared: PreparedYear, n_parts: int) -> list[tuple[int, int, int]]:
    """Edges on which each part but the first begins, has its turn and ends; none where the year is too short."""
    agenda, n_days = prepared.agenda, prepared.settings.n_days
    n_parts = min(n_parts, n_days // SHORTEST_PART_DAYS)
    steps_a_day = agenda.last // n_days

    def evening_near(edge: int) -> int:
        return agenda.plan_edges[bisect_left(agenda.plan_edges, edge)]

    turns = [evening_near(agenda.last * number // n_parts) for number in range(1, n_parts)]
    begins = [evening_near(turn - LEAD_DAYS * steps_a_day) for turn in turns]
    ends = [*turns, agenda.last][1:]
    return list(zip(begins, turns, ends, strict=True))


@dataclass(frozen=True)
class Ahead:
    """Parts that are being lived ahead: when each has its turn, and what will become of it."""

    parts: tuple[tuple[int, Future[Part]], ...] = ()

    def take_over(self, walk: YearWalk) -> bool:
        """Let a walk go on at the end of a part in which everything stands as on its evening; whether it did."""
        due = [part for turn, part in self.parts if turn <= walk.edge]
        if not due:
            return False
        part = due[-1].result()
        mark = walk.bookmark()
        if part.evenings.get(mark.edge) != (mark.state, mark.tally) or part.last.edge <= mark.edge:
            return False
        walk.skip_to(part.last, part.days)
        return True


@contextmanager
def lived_ahead(prepared: PreparedYear, executor: Executor, n_parts: int, after: int = 0) -> Iterator[Ahead]:
    """Have the later parts of a typical year lived while the first is; those that begin after an edge."""
    parts = tuple(
        (turn, executor.submit(live_part, prepared, begin, end))
        for begin, turn, end in seams(prepared, n_parts)
        if begin > after
    )
    try:
        yield Ahead(parts)
    finally:
        for _, part in parts:
            part.cancel()
