"""What a yard should do between readings, from its plans, its weather and its logbook."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from scheduler.logbook.chargers import charge_at_first
from scheduler.logbook.expectation import Expectation, Reading
from scheduler.logbook.expecting import expect, gather_readings
from scheduler.logbook.history import by_month, days_past, summary
from scheduler.logbook.readings import parse_logbook
from scheduler.logbook.verdicts import judge
from scheduler.planning.record import Plan
from scheduler.yard.models import Machine, Yard
from tests.sheet import sample
from tests.studies.small_yard import SITE, daily, greensboro, small_yard

ZONE = ZoneInfo("America/New_York")


def at(hour: int, day: int = 8) -> dt.datetime:
    return dt.datetime(2027, 6, day, hour, tzinfo=ZONE).astimezone(dt.UTC)


def expected_of(yard: Yard, readings: list[Reading], plans: tuple[Plan, ...] = ()) -> Expectation:
    return expect(yard, readings, greensboro(), plans, suns_of_plans=True)


def idle_yard() -> Yard:
    cart: Machine = daily("cart", 150.0, self_protecting=False)
    return small_yard(machines=(cart,))


def test_readings_of_the_same_quarter_hour_are_one() -> None:
    lines = "time,what,value,who\n2027-06-08 12:03,bank,60,\n2027-06-08 12:05,cart,40,\n2027-06-08 12:06,bank,61,\n"
    (one,) = gather_readings(parse_logbook(lines.encode(), Path("log.csv"), SITE), SITE)
    assert (one.at, one.bank_pct, dict(one.machines_pct)) == (at(12), 61.0, {"cart": 40.0})


def test_a_withdrawn_reading_counts_for_nothing() -> None:
    lines = "time,what,value,who\n2027-06-08 12:00,bank,60,\n2027-06-08 12:00,withdrawn: bank,60,\n"
    assert gather_readings(parse_logbook(lines.encode(), Path("log.csv"), SITE), SITE) == []


def seen(*lines: str) -> list[tuple[int, int, str]]:
    """Hours from and to which each word counts, in the order of the readings that hold them."""
    text = "time,what,value,who\n" + "".join(f"2027-06-{line}\n" for line in lines)
    found = gather_readings(parse_logbook(text.encode(), Path("log.csv"), SITE), SITE)
    local = [[moment.astimezone(ZONE) for moment in (sky.start, sky.end)] for one in found for sky in one.skies]
    words = [sky.term.words[0] for one in found for sky in one.skies]
    return [(begin.hour, end.hour, word) for (begin, end), word in zip(local, words, strict=True)]


def test_a_word_for_the_sky_is_for_the_time_since_the_bank_was_read_that_day() -> None:
    assert seen("08 12:00,bank,60,", "08 17:00,bank,70,", "08 17:02,sky,fair,") == [(12, 17, "fair")]
    assert seen("07 17:00,bank,60,", "08 12:00,sky,cloudy,") == [(0, 12, "cloudy")]


def test_halves_of_a_day_are_told_apart_and_end_when_they_are_said() -> None:
    assert seen('08 17:00,sky,"am: fair, pm: overcast",') == [(0, 12, "fair"), (12, 17, "overcast")]


def test_what_is_said_anew_of_the_same_time_takes_the_place_of_the_old() -> None:
    assert seen("08 12:00,sky,fair,", "08 17:00,sky,am: cloudy,") == [(0, 12, "cloudy")]


def test_a_word_for_the_sky_that_is_none_is_told_with_its_line() -> None:
    log = parse_logbook(b"time,what,value,who\n2027-06-08 12:00,sky,far,\n", Path("log.csv"), SITE)
    assert log.problems == ('line 2: "far" is no word for a sky here; did you mean "fair"?',)


def test_a_rise_between_two_displays_is_what_its_charger_drew() -> None:
    readings = [Reading(at(13), 60.0, {"cart": 20.0}), Reading(at(18), 60.0, {"cart": 50.0})]
    expected = expected_of(idle_yard(), readings)
    machine = expected.yard.machines[0]
    assert expected.wall_wh.sum() * machine.charger_efficiency == pytest.approx(0.3 * machine.capacity_wh)
    assert expected.wall_wh.max() <= machine.charger_w * expected.grid.step_h + 1e-9
    assert expected.unsure_wh.max() == 0.0


def test_without_plan_and_displays_what_was_drawn_is_unsure() -> None:
    expected = expected_of(idle_yard(), [Reading(at(13), 60.0), Reading(at(18), 60.0)])
    assert expected.wall_wh.max() == 0.0
    assert expected.unsure_wh.min() > 0.0


def test_a_plan_says_what_its_chargers_draw_and_whose_sun_shines() -> None:
    plan, yard = sample.field_plan(), sample.field_yard()
    first, last = plan.grid.start, plan.grid.end
    expected = expected_of(yard, [Reading(first, 50.0), Reading(last, 50.0)], (plan,))
    planned_wh = sum(float(machine.wall_wh.sum()) for machine in plan.machines)
    assert expected.wall_wh.sum() == pytest.approx(planned_wh)
    assert expected.unsure_wh.max() == 0.0
    for name, watts in plan.suns.by_name.items():
        brought_wh = expected.grid.energy_wh(expected.suns.by_name[name]).sum()
        assert brought_wh == pytest.approx(plan.grid.energy_wh(watts).sum())


def test_machines_hold_at_first_what_the_plan_has_there() -> None:
    plan, yard = sample.field_plan(), sample.field_yard()
    held = charge_at_first(yard, (plan,), plan.grid.start)
    for machine in plan.machines:
        capacity_wh = next(one.capacity_wh for one in yard.machines if one.name == machine.name)
        assert held[machine.name] == pytest.approx(100.0 * machine.charge_wh[0] / capacity_wh)
    assert charge_at_first(yard, (plan,), plan.grid.end) == {}


def test_parts_of_the_arrays_add_up() -> None:
    roof = small_yard().arrays[0]
    two = small_yard(arrays=tuple(roof.model_copy(update={"azimuth_deg": azimuth}) for azimuth in (90.0, 270.0)))
    expected = expected_of(two, [Reading(at(6), 60.0), Reading(at(20), 60.0)])
    assert expected.array_fraction.sum(axis=1) == pytest.approx(1.0)
    morning, evening = expected.array_fraction[8], expected.array_fraction[-8]
    assert morning[0] > morning[1]
    assert evening[0] < evening[1]


def test_nothing_drawn_and_no_sun_leaves_what_the_house_takes() -> None:
    expected = expected_of(idle_yard(), [Reading(at(22), 60.0), Reading(at(2, 9), 55.0)])
    bank, yard = expected.yard.bank, expected.yard
    draw_w = yard.always_on_w / yard.inverter.efficiency + yard.inverter.idle_w
    lost_pct = 100.0 * 4.0 * draw_w / bank.discharge_efficiency / bank.capacity_wh
    after = expected.bank_after_pct(0, expected.grid.n_steps, 60.0)
    assert list(after.values()) == pytest.approx([60.0 - lost_pct] * 3)


def test_days_of_more_than_one_month_are_summed_up_by_month_too() -> None:
    moments = [dt.datetime(2027, 6, 30, hour, tzinfo=ZONE).astimezone(dt.UTC) for hour in (13, 18, 23)]
    july = dt.datetime(2027, 7, 1, 7, tzinfo=ZONE).astimezone(dt.UTC)
    readings = [Reading(moment, 60.0) for moment in (*moments, july)]
    expected = expected_of(idle_yard(), readings)
    intervals, days = judge(expected, readings, {}), days_past(expected, ())
    told = by_month(days, intervals, ZONE)
    assert [one.partition(" readings")[0][-4:] for one in told] == ["of 2", "of 1"]
    assert [one.partition(":")[0] for one in told] == ["30 Jun to 30 Jun", "1 Jul to 1 Jul"]
    assert by_month(days[:1], intervals, ZONE) == ()


def test_the_last_days_in_a_sentence() -> None:
    readings = [Reading(at(13), 60.0, {"cart": 20.0}), Reading(at(18), 95.0, {"cart": 50.0})]
    expected = expected_of(idle_yard(), readings)
    days = days_past(expected, ())
    assert [day.date for day in days] == [dt.date(2027, 6, 8)]
    assert days[0].machines_wh == pytest.approx(float(np.sum(expected.wall_wh)))
    told = summary(days, judge(expected, readings, {}))
    assert told.startswith("8 Jun to 8 Jun: ")
    assert told.endswith("kWh to machines")
