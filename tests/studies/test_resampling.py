"""Years made of the days of a typical one."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise

import numpy as np

from scheduler.studies.resampling import BLOCK_DAYS, days_in_order, days_resampled
from scheduler.studies.typicalsuns import prepare_suns
from tests.studies.small_year import greensboro, plot

DATES = [dt.date(2027, 1, 1) + dt.timedelta(days=day) for day in range(365)]
MONTHS = np.array([date.month for date in DATES])


def resampled(seed: int) -> np.ndarray:
    return days_resampled(DATES, np.random.default_rng(seed))


def test_in_order_every_day_has_its_own_weather() -> None:
    assert days_in_order(DATES).tolist() == list(range(365))
    assert days_in_order([dt.date(2028, 2, 28), dt.date(2028, 2, 29), dt.date(2028, 3, 1)]).tolist() == [
        58,
        58,
        59,
    ]


def test_a_day_is_drawn_from_its_own_month() -> None:
    for seed in range(5):
        assert (MONTHS[resampled(seed)] == MONTHS).all()


def test_days_come_in_blocks_that_run_on() -> None:
    follows = [
        int(two) == int(one) + 1 or (MONTHS[one] == MONTHS[two] and DATES[two].day == 1)
        for one, two in pairwise(resampled(1))
    ]
    # Of five days four follow the one before, fewer where a month ends.
    assert 0.7 < np.mean(follows) <= 1 - 1 / BLOCK_DAYS + 0.06


def test_the_mean_sun_is_the_sources_within_the_sampling_error() -> None:
    by_day = prepare_suns(plot(), greensboro(), 60, 2027).ghi_wh_m2
    years = np.array([by_day[resampled(seed)].mean() for seed in range(200)])
    error = years.std(ddof=1) / np.sqrt(len(years))
    assert abs(years.mean() - by_day.mean()) < 4 * error
    assert error < 0.003 * by_day.mean()


def test_every_day_comes_as_often_as_any_other() -> None:
    counts = np.zeros(365)
    for seed in range(400):
        np.add.at(counts, resampled(seed), 1)
    # Binomial, but in blocks: at worst as if there were a fifth as many draws.
    assert np.abs(counts / 400 - 1).max() < 5 * np.sqrt(BLOCK_DAYS / 400)
    assert np.abs(counts.reshape(-1) - 400).mean() < 60
