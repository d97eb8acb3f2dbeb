"""A changed yard is different in one respect, and in that one as it was meant."""

from __future__ import annotations

import datetime as dt

import pytest

from scheduler.studies.changes import (
    Cure,
    ease_limits,
    list_cures,
    prepare_changed,
    with_modules,
    with_panels,
)
from scheduler.studies.year import YearSettings, prepare_year
from scheduler.yard.models import Array, Outlet, Visits
from tests.studies.small_yard import daily, greensboro, small_yard

TWO_ARRAYS = (
    Array(name="small", panels=2, panel_w=100.0, tilt_deg=30.0, azimuth_deg=180.0),
    Array(name="large", panels=3, panel_w=100.0, tilt_deg=30.0, azimuth_deg=180.0, input_limit_w=270.0),
)


def panels_of(more: int) -> list[int]:
    return [array.panels for array in with_panels(small_yard(arrays=TWO_ARRAYS), more).arrays]


def test_panels_are_added_to_the_largest_array_and_its_controller_grows_with_them() -> None:
    assert panels_of(3) == [2, 6]
    assert with_panels(small_yard(arrays=TWO_ARRAYS), 3).arrays[1].input_limit_w == pytest.approx(540.0)


def test_the_limit_of_a_shared_input_grows_with_all_that_is_on_it() -> None:
    both = tuple(array.model_copy(update={"input": "1", "input_limit_w": 400.0}) for array in TWO_ARRAYS)
    grown = with_panels(small_yard(arrays=both), 5).arrays
    assert [array.panels for array in grown] == [2, 8]
    # From 5 panels to 10, whichever array they are in.
    assert [array.input_limit_w for array in grown] == [pytest.approx(800.0)] * 2


def test_panels_are_taken_from_the_larger_array_first() -> None:
    assert [panels_of(-1), panels_of(-2), panels_of(-3)] == [[2, 2], [1, 2], [1, 1]]


def test_modules_are_added_like_the_largest_and_taken_from_the_end() -> None:
    yard = small_yard()
    larger = with_modules(yard, 2)
    assert larger.bank.modules_wh == (800.0, 800.0, 800.0)
    assert larger.bank.level_wh == pytest.approx(0.6 * 2400.0)
    assert with_modules(larger, -2).bank.modules_wh == (800.0,)


def test_each_eased_limit_changes_its_own_table_alone() -> None:
    yard = small_yard()
    tables = {
        "sun": "arrays",
        "bank": "bank",
        "inverter": "inverter",
        "outlets": "outlets",
        "visits": "visits",
        "cold or heat": "machines",
    }
    eased = ease_limits(yard)
    assert eased.keys() == tables.keys()
    for limit, change in eased.items():
        changed = {
            name for name in type(yard).model_fields if getattr(yard, name) != getattr(change.yard, name)
        }
        assert changed == {tables[limit]}


def test_eased_visits_keep_those_that_there_are() -> None:
    yard = small_yard(visits=Visits(times=("08:10", "12:00"), sun=("10:00",)))
    eased = ease_limits(yard)["visits"].yard.visits
    assert set(yard.visits.on_weekday(0)) < set(eased.on_weekday(0))
    assert set(yard.visits.on_weekday(6)) < set(eased.on_weekday(6))
    assert len(eased.on_weekday(6)) == 7


def test_eased_outlets_hold_every_machine_at_once() -> None:
    yard = small_yard(machines=(daily("cart", 100.0), daily("hoe", 100.0)))
    assert len(ease_limits(yard)["outlets"].yard.outlets) == 3


def cures(**changed: object) -> dict[str, Cure]:
    newcomer = daily("hoe", 100.0, at="08:00")
    yard = small_yard(machines=(daily("cart", 100.0), newcomer), **changed)
    return {cure.kind: cure for cure in list_cures(yard, [newcomer], 10.0)}


def test_changes_of_a_kind_run_from_little_to_much() -> None:
    found = cures(bank=small_yard().bank.model_copy(update={"modules_wh": (400.0, 400.0)}))
    assert [change.words for change in found["panels"].changes] == ["1 more panel", "2 more panels"]
    assert [change.yard.bank.capacity_wh for change in found["bank modules"].changes] == [1200.0, 1600.0]


def test_the_reserve_is_not_lowered_below_its_floor() -> None:
    assert [c.yard.bank.reserve_pct for c in cures()["a lower reserve"].changes] == [15.0, 10.0]
    low = small_yard().bank.model_copy(update={"reserve_pct": 12.0})
    assert "a lower reserve" not in cures(bank=low)


def test_a_later_ready_by_is_the_new_machines_alone() -> None:
    (change,) = cures()["a later ready-by"].changes
    cart, hoe = change.yard.machines
    assert change.words == "ready by 12:00"
    assert (cart.needs[0].ready_by, hoe.needs[0].ready_by) == (720, 720)
    assert change.yard.machines[0] == daily("cart", 100.0)


def test_a_visit_is_added_between_visits_and_after_the_last() -> None:
    found = cures()["a visit"]
    assert [change.words for change in found.changes] == [
        "a visit at 10:00 every day",
        "a visit at 15:00 every day",
    ]
    assert found.changes[0].yard.visits.on_weekday(2) == (480, 600, 720)
    assert not found.is_nested


def test_a_timer_goes_on_an_outlet_that_takes_the_machine() -> None:
    outlets = (Outlet(name="weak", kind="ac", max_w=50.0), Outlet(name="strong", kind="ac"))
    (change,) = cures(outlets=outlets)["a timer"].changes
    assert [outlet.timer for outlet in change.yard.outlets] == [False, True]
    timed = tuple(outlet.model_copy(update={"timer": True}) for outlet in outlets)
    assert "a timer" not in cures(outlets=timed)


def test_the_sun_on_the_same_panels_is_not_worked_out_again() -> None:
    weather, yard = greensboro(), small_yard()
    settings = YearSettings(first_day=dt.date(2027, 12, 1), n_days=3)
    base = prepare_year(yard, weather, settings)
    bank = prepare_changed(base, with_modules(yard, 1), weather, settings)
    panels = prepare_changed(base, with_panels(yard, 2), weather, settings)
    assert bank.suns is base.suns
    assert bank.yard.bank.capacity_wh == 1600.0
    assert panels.suns.true_w.sum() == pytest.approx(2 * base.suns.true_w.sum())
