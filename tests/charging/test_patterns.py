"""Patterns are what a hand may do with one machine (R6 to R10, R12): nothing else, and for all it may one as good.

The hand's ways, and what comes of each, are those of the oracle that tries everything.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from scheduler.charging.patterns import PatternTable, list_patterns
from scheduler.charging.places import Place, group_outlets
from scheduler.charging.reach import build_network
from scheduler.yard.agenda import Agenda
from scheduler.yard.models import Machine, Outlet
from tests.oracle_bruteforce import Column, machine_columns
from tests.oracle_physics import Case
from tests.planning.replay_samples import make_agenda, make_machine, make_need, make_yard
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


def drawn(seed: int) -> Case:
    return tiny_case(seed, timers=seed % 2 == 1)


@cache
def all_patterns(seed: int) -> list[tuple[PatternTable, Ways]]:
    """The patterns of each machine of a yard, and the ways of the hand."""
    case = drawn(seed)
    places = group_outlets(case.yard.outlets, case.yard.machines)
    return [
        (
            list_patterns(build_network(machine, case.agenda, places, case.suns.shed_temp_c)),
            Ways(case, places, machine_columns(case, machine)),
        )
        for machine in case.yard.machines
    ]


@pytest.mark.parametrize("seed", range(800, 824))
def test_every_pattern_is_a_way_of_the_hand(seed: int) -> None:
    for patterns, ways in all_patterns(seed):
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
            assert alike.any(), f"{patterns.network.machine.name}, pattern {row}\n{show(drawn(seed))}"


@pytest.mark.parametrize("seed", range(800, 824))
def test_for_every_way_of_the_hand_a_pattern_does_as_well_with_no_more(seed: int) -> None:
    for patterns, ways in all_patterns(seed):
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
            assert as_good.any(), f"{patterns.network.machine.name}, way {way}\n{show(drawn(seed))}"


def patterns_of(machine: Machine, outlet: Outlet, agenda: Agenda, temp_c: float = 20.0) -> PatternTable:
    places = group_outlets([outlet], [machine])
    return list_patterns(build_network(machine, agenda, places, np.full(agenda.grid.n_steps, temp_c)))


def test_a_need_at_the_very_start_is_judged_by_what_is_there_and_takes_its_work() -> None:
    machine = make_machine()  # 1000 Wh
    agenda = make_agenda(
        make_yard(machine), 2, needs={"mower": [make_need(0, 900.0, work_wh=400.0), make_need(0, 700.0)]}
    )
    patterns = patterns_of(machine, Outlet(name="east", kind="ac"), agenda)
    assert patterns.met.tolist() == [[0, 1, 0]] * len(patterns)
    assert patterns.short_wh == pytest.approx([100.0] * len(patterns))
    assert patterns.charge_wh(0)[0] == pytest.approx(600.0)


@pytest.mark.parametrize(("max_w", "temp_c"), [(400.0, 20.0), (None, -5.0)])
def test_what_may_not_be_plugged_in_stays_until_the_first_visit_and_no_longer(
    max_w: float | None, temp_c: float
) -> None:
    machine = make_machine(outlet="east")
    outlet = Outlet(name="east", kind="ac", max_w=max_w)
    yard = make_yard(machine, outlets=[outlet])
    agenda = make_agenda(yard, 4, visits=(2, 3), needs={"mower": [make_need(4, 5000.0)]})
    patterns = patterns_of(machine, outlet, agenda, temp_c)
    assert patterns.place.tolist() == [[0, 0, -1, -1]]
    assert patterns.wall_wh == pytest.approx(np.array([[500.0, 500.0, 0.0, 0.0]]))
    assert patterns.changes.tolist() == [1]
