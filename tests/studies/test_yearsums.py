"""What is counted of a year, and intervals over many."""

from __future__ import annotations

from dataclasses import replace

import pytest

from scheduler.studies.worstweek import worst_week
from scheduler.studies.yearsums import YearSums, readiness_interval
from tests.studies.made_years import FIRST, day, need, two_weeks, year_of


def test_sums_say_the_same_as_the_year() -> None:
    year = two_weeks()
    sums = YearSums.of(year, 3)
    for of in (
        {},
        {"priority": "must"},
        {"machine": "mower [bold]"},
        {"month": 2},
        {"machine": "cart", "month": 1},
    ):
        assert sums.readiness(**of) == year.readiness(**of)
    assert (sums.number, sums.sun_wh, sums.residual_wh) == (3, 14 * 3000.0, pytest.approx(0.0, abs=1e-6))


def test_readiness_counts_and_adds_up_what_is_missing() -> None:
    year = two_weeks()
    assert (year.readiness("must").ready, year.readiness("must").asked) == (12, 14)
    assert year.readiness("must").short_wh == pytest.approx(2 * 120.0)
    assert year.readiness(month=1).asked == 14
    assert year.readiness("could").fraction == 1.0


def test_energy_that_goes_nowhere_is_seen() -> None:
    year = two_weeks()
    assert year.residual_wh == pytest.approx(0.0, abs=1e-9)
    lost = replace(year.days[0], inverter_loss_wh=399.0)
    assert replace(year, days=(lost, *year.days[1:])).residual_wh == pytest.approx(1.0)


def test_cycles_and_use_of_the_sun() -> None:
    year = two_weeks()
    assert year.bank_full_cycles == pytest.approx(14 * 1000.0 / 5000.0)
    assert year.machine_full_cycles == (pytest.approx(5.6), pytest.approx(1.4))
    assert year.used_fraction == pytest.approx(1 - 500 / 3000)


def test_an_interval_holds_eight_years_in_ten_and_its_range_all() -> None:
    years = [
        YearSums.of(year_of(*(day(n, need("cart", n < ready)) for n in range(10))), number)
        for number, ready in enumerate(range(11))
    ]
    interval = readiness_interval(years, machine="cart")
    assert (interval.low_fraction, interval.high_fraction) == (pytest.approx(0.1), pytest.approx(0.9))
    assert (interval.least_fraction, interval.most_fraction) == (0.0, 1.0)


def test_the_worst_week_has_most_musts_unmet_and_tells_what_was_the_matter() -> None:
    week = worst_week(two_weeks())
    assert week is not None
    assert (week.first, week.must.ready, week.must.asked) == (FIRST.replace(day=26), 5, 7)
    later = worst_week(year_of(*two_weeks().days[3:]))
    assert later is not None
    assert later.unready == ("mower [bold]",)
    assert (later.readiness.ready, later.outside_window_h, later.hours) == (10, 40.0, 168.0)
    assert worst_week(year_of()) is None
