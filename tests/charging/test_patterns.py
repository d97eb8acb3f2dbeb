"""Patterns are what a hand may do with one machine (R6 to R10, R12): nothing else, and for all it may one as good.

The hand's ways, and what comes of each, are those of the oracle that tries everything.
"""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.charging.patterns import PatternTable, list_patterns
from scheduler.charging.places import Place, group_outlets
from scheduler.charging.reach import build_network
from tests.oracle_bruteforce import Column, machine_columns
from tests.oracle_physics import Case
from tests.random_yards import show, tiny_case

#: Draws and shortfalls of two closed forms [Wh, W].
SAME = 1e-4


class Ways:
    """The oracle's ways of one machine, stacked, by place instead of outlet."""

    def __init__(self, case: Case, places: tuple[Place, ...], columns: list[Column]) -> None:
        names = [outlet.name for outlet in case.yard.outlets]
        place_of = np.array(
            [next(n for n, place in enumerate(places) if name in place.outlets) for name in names]
        )
        occupied = np.array([column.occupied for column in columns])
        self.place = np.where(occupied.any(axis=1), place_of[occupied.argmax(axis=1)], -1)
        self.hot = np.array([column.over.any(axis=0) for column in columns])
        self.wall_wh = np.array([column.wall_wh for column in columns])
        self.peak_w = np.array([column.peak_w for column in columns])
        self.met = np.array([column.met for column in columns])
        self.short_wh = np.array([column.shortfall_wh for column in columns])
        self.changes = np.array([column.changes for column in columns])


def all_patterns(case: Case) -> list[tuple[PatternTable, Ways]]:
    """The patterns of each machine of a yard, and the ways of the hand."""
    places = group_outlets(case.yard.outlets, case.yard.machines)
    return [
        (
            list_patterns(build_network(machine, case.agenda, places, case.suns.shed_temp_c)),
            Ways(case, places, machine_columns(case, machine)),
        )
        for machine in case.yard.machines
    ]


def drawn(seed: int) -> Case:
    return tiny_case(seed, timers=seed % 2 == 1)


@pytest.mark.parametrize("seed", range(800, 824))
def test_every_pattern_is_a_way_of_the_hand(seed: int) -> None:
    case = drawn(seed)
    for patterns, ways in all_patterns(case):
        for row in range(len(patterns)):
            alike = (
                (np.abs(ways.wall_wh - patterns.wall_wh[row]) < SAME).all(axis=1)
                & (np.abs(ways.peak_w - patterns.peak_w[row]) < SAME).all(axis=1)
                & (ways.place == patterns.place[row]).all(axis=1)
                & (ways.hot == patterns.hot[row]).all(axis=1)
                & (ways.met == patterns.met[row]).all(axis=1)
                & (np.abs(ways.short_wh - patterns.short_wh[row]) < SAME)
                & (ways.changes == patterns.changes[row])
            )
            assert alike.any(), f"{patterns.network.machine.name}, pattern {row}\n{show(case)}"


@pytest.mark.parametrize("seed", range(800, 824))
def test_for_every_way_of_the_hand_a_pattern_does_as_well_with_no_more(seed: int) -> None:
    case = drawn(seed)
    for patterns, ways in all_patterns(case):
        for way in range(len(ways.wall_wh)):
            as_good = (
                (patterns.wall_wh <= ways.wall_wh[way] + SAME).all(axis=1)
                & (patterns.peak_w <= ways.peak_w[way] + SAME).all(axis=1)
                & ((patterns.place == ways.place[way]) | (patterns.place < 0)).all(axis=1)
                & (patterns.hot <= ways.hot[way]).all(axis=1)
                & (patterns.met >= ways.met[way]).all(axis=1)
                & (patterns.short_wh <= ways.short_wh[way] + SAME)
                & (patterns.changes <= ways.changes[way])
            )
            assert as_good.any(), f"{patterns.network.machine.name}, way {way}\n{show(case)}"
