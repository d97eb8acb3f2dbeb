"""R5, R6: the worst set against every set that there is."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.checkup.atonce import alike, listed, takes, worst_chargers, worst_within
from scheduler.yard.models import HouseLoad, Machine, Yard
from tests.checkup.storeyard import load, machine, outlet, store_yard

WATTS = st.integers(1, 40).map(lambda tens: 50.0 * tens)


@st.composite
def yards(draw: st.DrawFn) -> Yard:
    outlets = [
        outlet(f"o{number}", None, kind=draw(st.sampled_from(["ac", "ac", "dc"])), max_w=draw(WATTS))
        for number in range(draw(st.integers(1, 4)))
    ]
    machines = [
        machine(draw(WATTS), f"m{number}", supply=draw(st.sampled_from(["ac", "ac", "dc"])))
        for number in range(draw(st.integers(0, 5)))
    ]
    loads = [load(f"l{number}", draw(WATTS)) for number in range(draw(st.integers(0, 2)))]
    return store_yard(outlets=tuple(outlets), machines=tuple(machines), house_loads=tuple(loads))


def fitting_sets(yard: Yard, kind: str) -> Iterator[tuple[Machine, ...]]:
    """Every set of machines for which there is an outlet each, found by trying every order of the outlets."""
    outlets = [o for o in yard.outlets if o.kind == kind]
    for size in range(len(outlets) + 1):
        for chosen in combinations([m for m in yard.machines if m.supply == kind], size):
            for places in permutations(outlets, size):
                if all(takes(place, one) for place, one in zip(places, chosen, strict=True)):
                    yield chosen
                    break


def subsets(loads: tuple[HouseLoad, ...]) -> Iterator[tuple[HouseLoad, ...]]:
    for size in range(len(loads) + 1):
        yield from combinations(loads, size)


@settings(deadline=None, max_examples=60)
@given(yards())
def test_the_worst_set_is_that_of_all_sets_tried_one_by_one(yard: Yard) -> None:
    for kind in ("ac", "dc"):
        worst = worst_chargers(yard, kind)
        assert worst.watts == max(sum(m.charger_w for m in chosen) for chosen in fitting_sets(yard, kind))
        by_name = {m.name: m for m in yard.machines}
        assert tuple(by_name[name] for name in sorted(worst.names)) in set(fitting_sets(yard, kind))
        assert worst.watts == sum(by_name[name].charger_w for name in worst.names)


@settings(deadline=None, max_examples=60)
@given(yards(), st.integers(0, 100))
def test_the_worst_set_within_some_watts_is_that_of_all_sets_tried_one_by_one(yard: Yard, tens: int) -> None:
    most_w = 50.0 * tens
    totals = [
        sum(m.charger_w for m in chosen) + sum(one.watts for one in running)
        for chosen in fitting_sets(yard, "ac")
        for running in subsets(yard.house_loads)
    ]
    found = worst_within(yard, yard.house_loads, most_w)
    assert found.watts == max(total for total in totals if total <= most_w)
    watts = {m.name: m.charger_w for m in yard.machines} | {one.name: one.watts for one in yard.house_loads}
    assert found.watts == sum(watts[name] for name in found.names)


@settings(deadline=None, max_examples=60)
@given(yards())
def test_without_a_limit_both_ways_find_the_same(yard: Yard) -> None:
    assert worst_within(yard, (), 1e9).watts == worst_chargers(yard, "ac").watts


def test_a_large_charger_leaves_the_small_outlet_to_others() -> None:
    # By hand: the 1800 W only fit into the 20 A outlet, so that the 1500 W have no other; 1800 + 400.
    yard = store_yard(
        outlets=(outlet("small", None, max_w=600.0), outlet("large", 20.0)),
        machines=(machine(1500.0, "b"), machine(1800.0, "a"), machine(400.0, "c"), machine(300.0, "d")),
    )
    worst = worst_chargers(yard, "ac")
    assert worst.watts == 2200.0
    assert set(worst.names) == {"a", "c"}


def test_a_hundred_chargers_of_all_sizes_take_no_time_to_speak_of() -> None:
    machines = tuple(machine(100.0 + 7.3 * number, f"m{number}") for number in range(99))
    yard = store_yard(outlets=tuple(outlet(f"o{number}", 30.0) for number in range(20)), machines=machines)
    found = worst_within(yard, (), 3000.0)
    assert found.watts == pytest.approx(3000.0, abs=1.0)
    assert found.watts <= 3000.0


def test_machines_of_one_count_are_told_together() -> None:
    pruners = (machine(90.0, "pruner 1"), machine(90.0, "pruner 2", charge_pct=10.0), machine(91.0, "saw"))
    assert [[m.name for m in group] for group in alike(pruners)] == [["pruner 1", "pruner 2"], ["saw"]]


def test_a_long_list_of_names_is_cut_short() -> None:
    assert listed(["a"]) == "a"
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert listed(list("abcdefgh")) == "a, b, c, d, e and 3 more"
