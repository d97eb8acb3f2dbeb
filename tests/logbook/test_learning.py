"""A yard's true figures come back from its readings, with intervals that hold them as often as they say."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.errors import UsageError
from scheduler.logbook.learned import Figure
from scheduler.logbook.learning import _Fit, learn
from scheduler.logbook.sureness import unsure
from tests.benchmarks.learning import errors_of, learn_many, rates_of, render_errors
from tests.logbook.fortnights import Truth, live_weeks, without_load
from tests.logbook.injected import Words


def test_chargers_are_found_within_5_percent_and_a_yard_that_is_known_so_well_asks_for_nothing() -> None:
    weeks = live_weeks(305, days=28)
    learned = learn(weeks.expected, weeks.readings, {})
    chargers = errors_of(weeks, learned).errors["charger"]
    assert chargers
    assert all(abs(error) < 0.05 for error, _ in chargers), chargers
    assert learned.unsure is None
    assert not learned.is_starved


@pytest.mark.deep
def test_figures_come_back_within_5_percent_after_eight_weeks_and_intervals_hold_them() -> None:
    table = learn_many(range(100, 140), 56)
    told = render_errors(table)
    assert all(rms <= 0.05 for rms, _ in rates_of(table).values()), told
    assert all(0.90 <= held <= 0.99 for _, held in rates_of(table).values()), told


def test_what_is_not_sure_asks_for_the_readings_that_bring_most() -> None:
    believed, rows = np.zeros((2, 3)), np.diag([100.0, 10.0, 5.0])
    kinds = {f"more of {number}": np.arange(5) == 2 + number for number in range(3)}
    lacking = unsure(np.vstack([believed, rows]), np.ones(2), kinds, days=30.0)
    assert lacking is not None
    assert lacking.deviation_fraction == pytest.approx(0.1)
    assert lacking.more_days == pytest.approx(90.0), "half as far off takes four times the days"
    assert lacking.ask_for[0] == "more of 1"
    sure = np.vstack([believed[:1], rows])
    assert unsure(sure, np.ones(1), {}, days=30.0) is None
    half = unsure(sure, np.array([20.0]), {}, days=30.0)
    assert half is not None
    assert half.deviation_fraction == pytest.approx(0.2), "an error of one is twenty times the figure"


def test_nobody_is_asked_for_readings_of_what_none_can_tell() -> None:
    believed, told = np.diag([1.0, 1.0]), np.array([[100.0, 0.0]])
    assert unsure(np.vstack([believed, told]), np.ones(2), {}, days=30.0) is None


@pytest.mark.slow
def test_a_load_that_the_file_lacks_is_found_and_not_laid_to_the_bank() -> None:
    weeks = without_load(live_weeks(305, days=28))
    learned = learn(weeks.expected, weeks.readings, {})
    found = {figure.kind: figure for figure in learned.figures}
    load, bank = found["base load"], found["bank"]
    assert load.in_file == 0.0
    assert load.low <= weeks.base_w <= load.high, load
    assert load.value == pytest.approx(weeks.base_w, rel=0.2)
    assert bank.low <= weeks.truth.bank * bank.in_file <= bank.high, bank


@pytest.mark.deep
def test_a_load_that_the_file_lacks_comes_back_as_one_that_is_in_it_does() -> None:
    table = learn_many(range(100, 140), 56, is_load_in_file=False)
    told, fed = render_errors(table), [one for one in table if not one.is_starved]
    assert all(rms <= 0.05 and held >= 0.90 for rms, held in rates_of(fed).values()), told
    assert all(held >= 0.88 for _, held in rates_of(table).values()), told


@pytest.mark.slow
def test_no_load_is_found_where_there_is_none() -> None:
    weeks = without_load(live_weeks(305, days=28, truth=Truth(0.9, 0.0, 0.9, 1.0)))
    learned = learn(weeks.expected, weeks.readings, {})
    (load,) = (figure for figure in learned.figures if figure.kind == "base load")
    assert (load.in_file, load.low) == (0.0, 0.0)
    assert load.value < 8.0
    assert not load.is_otherwise
    assert learned.unsure is None or learned.unsure.deviation_fraction < 0.1, "a part of nothing is no measure"


def test_what_the_file_lacks_altogether_is_no_number_of_times_as_much() -> None:
    assert Figure("base load", "", 0.0, 0.0, 0.0, 12.0).factor_fraction == 1.0
    assert Figure("base load", "", 0.0, 60.0, 50.0, 70.0).factor_fraction == np.inf



def test_a_bank_that_was_mostly_empty_says_little_of_itself() -> None:
    weeks = live_weeks(301, days=28)
    assert learn(weeks.expected, weeks.readings, {}).is_starved


@pytest.mark.slow
def test_what_was_seen_of_the_sky_says_where_the_days_lay() -> None:
    weeks = live_weeks(305, days=28, words=Words.SINCE_VISIT)
    fit = _Fit(weeks.expected, weeks.readings, weeks.readings, {})
    assert (fit.place_deviation < 1.0).mean() > 0.9


def test_less_than_a_fortnight_is_not_learned_from() -> None:
    weeks = live_weeks(2, days=28)
    with pytest.raises(UsageError, match="14 or more"):
        learn(weeks.expected, weeks.readings[:30], {})
