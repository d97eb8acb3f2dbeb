from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from scheduler.commands.weather import check_begun, choose_weather, day_of, parse_start
from scheduler.errors import UsageError, WeatherFileError
from scheduler.sun.forecast import Forecast
from scheduler.sun.placesky import PlaceSky
from scheduler.sun.skywords import SkyWords
from scheduler.sun.typicalyear import TypicalYear
from scheduler.yard.models import Yard
from tests.sun.test_suns import STORE, yard

FORECASTS = Path(__file__).parents[2] / "forecasts"
FORECAST = FORECASTS / "field-edge-three-days.csv"
TYPICAL = FORECASTS / "greensboro-tmy3.csv"
FLEET = FORECASTS / "any.toml"
TODAY = dt.date(2027, 6, 8)
NOW = dt.datetime(2027, 6, 8, 3, 30, tzinfo=dt.UTC)  # still the evening of the 7th in New York

BARE = yard()
NAMING = yard(STORE.model_copy(update={"typical_year": TYPICAL.name}))


def chosen(of: Yard, weather: Path | None = None, sky: str | None = None) -> object:
    return choose_weather(of, FLEET, weather, sky, TODAY)


def test_the_best_weather_there_is_is_taken_in_order():
    assert isinstance(chosen(NAMING, FORECAST), Forecast)
    assert isinstance(chosen(NAMING), TypicalYear)
    assert isinstance(chosen(BARE), PlaceSky)
    assert isinstance(chosen(BARE, TYPICAL), TypicalYear)


@pytest.mark.parametrize(
    ("of", "weather", "base"),
    [(NAMING, None, TypicalYear), (BARE, None, PlaceSky), (BARE, TYPICAL, TypicalYear)],
)
def test_words_stand_on_whatever_else_there_is(of, weather, base):
    words = chosen(of, weather, "tomorrow: fair")
    assert isinstance(words, SkyWords)
    assert isinstance(words.base, base)
    assert words.spells[0].start == dt.datetime(2027, 6, 9, 4, tzinfo=dt.UTC)


def test_words_besides_a_forecast_are_one_too_many():
    with pytest.raises(UsageError, match="leave one of them out"):
        chosen(NAMING, FORECAST, "tomorrow: fair")


def test_a_typical_year_that_is_named_and_not_there_is_an_error():
    with pytest.raises(WeatherFileError, match="cannot be read"):
        chosen(yard(STORE.model_copy(update={"typical_year": "none.csv"})))


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("06:00", dt.datetime(2027, 6, 7, 10, tzinfo=dt.UTC)),
        ("2027-06-09 06:00", dt.datetime(2027, 6, 9, 10, tzinfo=dt.UTC)),
    ],
)
def test_a_start_is_on_the_sites_clock_and_a_time_alone_is_today(text, moment):
    assert parse_start(text, NOW, BARE) == moment
    assert parse_start(None, NOW, BARE) is None
    assert day_of(NOW, BARE) == dt.date(2027, 6, 7)


def test_a_start_that_is_no_time_is_told():
    with pytest.raises(UsageError, match='or a time such as "06:00"'):
        parse_start("soon", NOW, BARE)


def test_what_begins_before_its_weather_is_told_when_it_could():
    weather = choose_weather(BARE, FLEET, FORECAST, None, TODAY)
    assert weather.begins is not None
    check_begun(weather, weather.begins, "the plan", BARE)
    check_begun(PlaceSky(STORE), NOW, "the plan", BARE)
    with pytest.raises(
        UsageError, match=r'the plan would begin at Mon 07 Jun 23:30.*--from "2027-06-08 00:00"'
    ):
        check_begun(weather, NOW, "the plan", BARE)
