from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from scheduler.errors import UsageError
from scheduler.sun.placesky import PlaceSky
from scheduler.sun.skies import clear_ghi_w_m2
from scheduler.sun.skyterms import SKY_TERMS, parse_sky
from scheduler.sun.skywords import SkyWords
from scheduler.sun.spread import spread_factors
from scheduler.yard.models import Site

STORE = Site(latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="America/New_York")
KOLKATA = Site(latitude=22.57, longitude=88.36, timezone="Asia/Kolkata")
TODAY = dt.date(2027, 6, 8)  # a Tuesday


def at(*date: int, site: Site = STORE) -> dt.datetime:
    return dt.datetime(*date, tzinfo=site.zone).astimezone(dt.UTC)  # type: ignore[arg-type, misc]


def spells(text: str) -> list[tuple[dt.datetime, dt.datetime, str]]:
    return [(spell.start, spell.end, spell.term.words[0]) for spell in parse_sky(text, TODAY, STORE)]


def words(text: str, site: Site = STORE) -> SkyWords:
    return SkyWords(site, text, TODAY, parse_sky(text, TODAY, site), PlaceSky(site))


def suns(text: str, start: dt.datetime, hours: int, site: Site = STORE) -> pd.DataFrame:
    return words(text, site).hours(start, start + dt.timedelta(hours=hours))


def test_halves_of_a_day_follow_each_other():
    assert spells("tomorrow am: fair, pm: overcast") == [
        (at(2027, 6, 9), at(2027, 6, 9, 12), "fair"),
        (at(2027, 6, 9, 12), at(2027, 6, 10), "overcast"),
    ]


@pytest.mark.parametrize(
    ("day", "date"),
    [
        ("today", 8),
        ("", 8),
        ("tomorrow", 9),
        ("tue", 8),
        ("wed", 9),
        ("monday", 14),
        ("2027-06-20", 20),
        ("Tomorrow", 9),
    ],
)
def test_a_day_is_named_in_several_ways(day, date):
    assert spells(f"{day} pm: clear") == [(at(2027, 6, date, 12), at(2027, 6, date + 1), "clear")]


def test_without_a_half_the_word_holds_for_the_whole_day():
    assert spells("tomorrow: partly cloudy; thu: cloudy") == [
        (at(2027, 6, 9), at(2027, 6, 10), "partly cloudy"),
        (at(2027, 6, 10), at(2027, 6, 11), "cloudy"),
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("tomorrow am: far", 'did you mean "fair"'),
        ("tomorrow am: xyz", "known are clear, sunny"),
        ("tomorrow am fair", "wanted a day, am or pm, and a word"),
        ("", "wanted a day"),
        ("tomorow am: fair", '"tomorow" is no day'),
        ("next tuesday am: fair", "wanted a day"),
        ("2027-13-01 am: fair", "is no day"),
        ("tomorrow: fair, pm: clear", "two words for one time"),
    ],
)
def test_what_cannot_be_understood_is_told_with_what_is_wanted(text, told):
    with pytest.raises(UsageError, match=told):
        parse_sky(text, TODAY, STORE)


def test_the_terms_cover_every_okta_once_and_grow_darker():
    covered = [okta for term in SKY_TERMS for okta in range(term.oktas[0], term.oktas[1] + 1)]
    assert covered == list(range(9))
    clearness = [term.clearness_fraction for term in SKY_TERMS]
    assert clearness == sorted(clearness, reverse=True)


def test_a_word_brings_its_share_of_the_clear_sky():
    hours = suns("tomorrow am: fair, pm: overcast", at(2027, 6, 9), 24)
    clear = clear_ghi_w_m2(STORE, pd.DatetimeIndex(hours.index))
    assert hours["ghi_w_m2"].to_numpy()[:12] == pytest.approx(0.96 * clear[:12])
    assert hours["ghi_w_m2"].to_numpy()[12:] == pytest.approx(0.38 * clear[12:])
    assert (hours["ghi_dull_w_m2"] <= hours["ghi_w_m2"]).all()
    assert (hours["ghi_bright_w_m2"] >= hours["ghi_w_m2"]).all()
    assert not {"dni_w_m2", "dhi_w_m2"} & set(hours.columns)


def test_the_spread_is_that_of_the_whole_day_whenever_the_plan_begins():
    hours = suns("tomorrow am: fair, pm: overcast", at(2027, 6, 9), 24)
    clear = clear_ghi_w_m2(STORE, pd.DatetimeIndex(hours.index))
    clearness = hours["ghi_w_m2"].sum() / clear.sum()
    dull = spread_factors(np.array([clearness]), np.ones(1), "cloud")[0][0]
    assert hours["ghi_dull_w_m2"].sum() == pytest.approx(dull * hours["ghi_w_m2"].sum())
    later = suns("tomorrow am: fair, pm: overcast", at(2027, 6, 9, 12), 12)
    pd.testing.assert_frame_equal(later, hours.iloc[12:])


def test_what_has_no_word_is_left_as_it_was():
    start = at(2027, 6, 8, 16)
    told, bare = suns("tomorrow pm: clear", start, 48), PlaceSky(STORE).hours(start, start + dt.timedelta(hours=48))
    changed = (told["ghi_w_m2"] != bare["ghi_w_m2"]).to_numpy()
    lit = (bare["ghi_w_m2"] > 0.0).to_numpy()
    inside = (told.index >= at(2027, 6, 9, 12)) & (told.index < at(2027, 6, 10))
    assert (changed == (inside & lit)).all()


def test_words_for_another_time_change_nothing():
    start = at(2027, 6, 8, 16)
    pd.testing.assert_frame_equal(
        suns("sat: overcast", start, 24), PlaceSky(STORE).hours(start, start + dt.timedelta(hours=24))
    )


def test_further_days_are_less_sure():
    hours = suns("tomorrow: fair, fri: fair", at(2027, 6, 9), 72)
    kept = hours["ghi_dull_w_m2"].to_numpy() / np.maximum(hours["ghi_w_m2"].to_numpy(), 1e-9)
    assert kept[12] > kept[60]


def test_a_zone_off_the_full_hour_has_its_half_days_to_the_nearest_hour():
    hours = suns("tomorrow am: clear, pm: overcast", at(2027, 6, 9, site=KOLKATA), 24, KOLKATA)
    clear = clear_ghi_w_m2(KOLKATA, pd.DatetimeIndex(hours.index))
    lit = clear > 0.0
    share = hours["ghi_w_m2"].to_numpy()[lit] / clear[lit]
    assert set(np.round(share, 6)) == {1.03, 0.38}


def test_the_source_says_what_was_said_and_what_it_stands_on():
    told = words("tomorrow am: fair")
    assert told.source.startswith("sky by hand (tomorrow am: fair), the rest a poor guess")
    assert any("coarse" in note for note in told.notes)
    assert (told.begins, told.ends) == (None, None)
