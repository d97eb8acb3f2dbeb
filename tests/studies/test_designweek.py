"""A design week has nothing but one kind of day, and says in seconds what a yard would do with it."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from scheduler.sheet.fitscreen import quick_answer
from scheduler.studies.designweek import (
    QUANTILES,
    design_clearness,
    first_monday,
    on_design_days,
    study_design_weeks,
)
from scheduler.studies.year import PreparedYear, YearSettings, prepare_year
from scheduler.studies.yearsky import draw_sky
from tests.studies.small_yard import AtOnce, daily, greensboro, small_yard


@pytest.fixture(scope="module")
def december() -> PreparedYear:
    return prepare_year(small_yard(), greensboro(), YearSettings(first_day=dt.date(2027, 12, 6), n_days=3))


def test_the_week_begins_on_the_first_monday() -> None:
    assert first_monday(2027, 12) == dt.date(2027, 12, 6)
    assert first_monday(2027, 11) == dt.date(2027, 11, 1)


def test_dull_likely_and_bright_are_what_9_5_and_1_days_in_10_exceed(december: PreparedYear) -> None:
    clear = december.suns.clearness_fraction
    days = [*range(348 - 15, 365), *range(348 + 15 + 1 - 365)]  # 15 December is day 348, counted from 0
    for sun, exceeded in (("dull", 0.9), ("likely", 0.5), ("bright", 0.1)):
        clearness = design_clearness(december.suns, 12, QUANTILES[sun])
        assert np.mean(clear[days] > clearness) == pytest.approx(exceeded, abs=1 / 31)


def test_every_day_is_the_same_and_forecast_as_it_comes(december: PreparedYear) -> None:
    prepared = on_design_days(december, 12, 0.5)
    sky = draw_sky(prepared.suns, prepared.agenda.whole.grid, prepared.spread, 0, 0)
    by_day = sky.true_w.reshape(-1, 24)
    assert by_day[0].sum() > 0.0
    np.testing.assert_allclose(by_day, np.tile(by_day[0], (len(by_day), 1)))
    for forecast_w in (sky.dull_w, sky.likely_w, sky.bright_w):
        np.testing.assert_allclose(forecast_w, sky.true_w, rtol=1e-6, atol=1e-6)


def test_the_answer_names_the_suns_under_which_it_fits() -> None:
    weeks = study_design_weeks(small_yard(), [daily("hoe", 60.0)], greensboro(), YearSettings(), 12, AtOnce())
    assert [week.sun for week in weeks] == ["dull", "likely", "bright"]
    assert weeks[0].sun_wh < weeks[1].sun_wh < weeks[2].sun_wh
    assert [sum(one.asked for one in week.fit.months[0].newcomers) for week in weeks] == [7, 7, 7]
    fitting = [week.sun for week in weeks if week.fit.fits]
    assert fitting
    assert all(sun in quick_answer(weeks) for sun in fitting)
