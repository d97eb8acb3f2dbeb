"""A word for the sky says how much sun there was, and is heard once."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from scheduler.logbook.beliefs import follow
from scheduler.logbook.causes import Cause
from scheduler.logbook.daysun import PLACES, place_weights
from scheduler.logbook.expectation import Expectation
from scheduler.logbook.skyseen import PASSES_FRACTION, STRAYS_FRACTION, SeenSky, word_odds
from scheduler.sun.skyterms import SKY_TERMS, SkySpell
from tests.benchmarks.cloud import fitted_words
from tests.logbook.injected import Case, Words, make_case

CLEAR, OVERCAST = SKY_TERMS[0], SKY_TERMS[-1]


def believed(expected: Expectation, *spells: tuple[int, int, int]) -> float:
    """Mean place of the first whole day's sun after words for parts of it, by their hours and the word."""
    noon = next(step for step in range(24) if expected.grid.local(step).hour == 0)
    skies = [
        SkySpell(expected.grid.edge(noon + first), expected.grid.edge(noon + last), SKY_TERMS[term])
        for first, last, term in spells
    ]
    told = SeenSky(expected, skies).tell(noon, noon + 24)
    weights = place_weights() * (1.0 if told is None else told.likely_fraction)
    return float((weights * PLACES).sum() / weights.sum())


def yard() -> Expectation:
    return make_case(Cause.NONE, 6).expected


def test_some_word_is_said_under_every_sky_and_a_duller_one_under_a_duller_sky() -> None:
    clearness = np.linspace(0.1, 1.2, 40)
    odds = word_odds(clearness)
    assert odds.sum(axis=0) == pytest.approx(np.ones(40))
    mean_word = np.arange(len(SKY_TERMS)) @ odds
    assert (np.diff(mean_word) < 0.0).all()
    meant = np.array([term.clearness_fraction for term in SKY_TERMS])
    said = np.arange(len(SKY_TERMS)) @ word_odds(meant)
    assert said == pytest.approx(np.arange(len(SKY_TERMS)), abs=1.0)


def test_what_words_mean_is_what_three_typical_years_say() -> None:
    assert fitted_words() == pytest.approx([*PASSES_FRACTION, STRAYS_FRACTION], abs=0.01)


def test_each_duller_word_puts_the_sun_nearer_to_dull() -> None:
    places = [believed(yard(), (0, 24, term)) for term in range(len(SKY_TERMS))]
    assert places == sorted(places, reverse=True)
    assert places[-1] < believed(yard()) < places[0]


def test_a_second_word_of_a_day_tells_less_than_twice_as_much() -> None:
    once = believed(yard(), (0, 24, 3)) - believed(yard())
    halves = believed(yard(), (0, 12, 3), (12, 24, 3)) - believed(yard())
    assert abs(halves) < 1.6 * abs(once)


def test_a_word_for_the_dark_tells_nothing() -> None:
    assert believed(yard(), (0, 4, 4)) == believed(yard())


def test_a_clear_morning_of_a_dull_afternoon_leans_the_day_to_its_morning() -> None:
    expected = yard()
    midnight = next(step for step in range(24) if expected.grid.local(step).hour == 0)
    edge = expected.grid.edge
    skies = [
        SkySpell(edge(midnight), edge(midnight + 12), CLEAR),
        SkySpell(edge(midnight + 12), edge(midnight + 24), OVERCAST),
    ]
    told = SeenSky(expected, skies).tell(midnight, midnight + 24)
    assert told is not None
    assert (told.lean_deviations > 0.0).all()


def odds_of_a_weak_sun(case: Case, term: int) -> float:
    """How probable it is that the array is to blame, with one word said of every day."""
    grid = case.expected.grid
    readings = [
        replace(one, skies=(SkySpell(max(grid.start, one.at - dt.timedelta(hours=11)), one.at, SKY_TERMS[term]),))
        for one in case.readings
    ]
    causes = follow(case.expected, readings, case.first_charge_pct)[-1].by_cause()
    return causes[Cause.WEAK_ARRAY] + causes[Cause.STRING_OFF]


def test_a_weak_sun_is_the_arrays_under_a_fair_sky_and_the_clouds_under_an_overcast_one() -> None:
    case = make_case(Cause.WEAK_ARRAY, 7)
    assert odds_of_a_weak_sun(case, 1) > odds_of_a_weak_sun(case, 4)


def test_words_leave_the_days_and_the_displays_as_they_are() -> None:
    without, told = (make_case(Cause.STRING_OFF, 8, words=words) for words in (None, Words.SINCE_VISIT))
    assert any(one.skies for one in told.readings)
    assert [replace(one, skies=()) for one in told.readings] == without.readings
