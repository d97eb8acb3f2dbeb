"""A rule of thumb that keeps every rule: machines in order of class and deadline, each by the best that still fits.

It gives the aims something to start from, and is the plan when no solver answers.
"""

from __future__ import annotations

import numpy as np

from scheduler.charging.patterns import PatternTable
from scheduler.charging.routes import IntArray
from scheduler.planning.model import Case
from scheduler.planning.selection import (
    Selection,
    allowed_rows,
    idle_row,
)
from scheduler.yard.models import PRIORITIES


def careful_selection(case: Case) -> Selection:
    """Give each machine in turn the best pattern that the ones before leave room for."""
    selection = Selection(tuple(idle_row(case, n) for n in range(len(case.tables))), case.house.duty)
    for number in sorted(range(len(case.tables)), key=lambda n: _urgency(case, n)):
        fitting = allowed_rows(case, selection, number)
        for row in _best_first(case.tables[number]):
            if fitting[row]:
                selection = selection.with_row(number, int(row))
                break
    return selection


def _urgency(case: Case, number: int) -> tuple[int, int, int]:
    needs = case.agenda.needs[case.tables[number].network.machine.name]
    if not needs:
        return len(PRIORITIES), 0, number
    return min((PRIORITIES.index(need.priority), need.edge, number) for need in needs)


def _best_first(table: PatternTable) -> IntArray:
    """Rows by needs met class by class, then shortfall, plug changes and energy drawn."""
    keys = [table.wall_wh.sum(axis=1), table.changes, np.rint(table.short_wh * 1e3)]
    keys += [-table.met[:, rank] for rank in reversed(range(len(PRIORITIES)))]
    return np.lexsort(keys)
