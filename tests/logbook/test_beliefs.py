"""Causes are named from what was read, and told apart as far as readings can."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.logbook.beliefs import _Follower, follow, probability_of_whole
from scheduler.logbook.causes import PRIOR_FRACTION, Cause, deviations_of
from scheduler.logbook.daysun import PLACES, place_weights, sun_at_w
from scheduler.logbook.skyseen import SeenSky
from tests.benchmarks.diagnosis import name_causes, rates_of, render_table
from tests.logbook.injected import FAULTS, Words, make_case

CERTAIN = (Cause.ARRAY_OFF, Cause.INVERTER_OFF, Cause.EXTRA_LOAD, Cause.CHARGER_OFF, Cause.METER_STUCK)
ALIKE = (Cause.STRING_OFF, Cause.WEAK_ARRAY)


@pytest.mark.parametrize("cause", CERTAIN)
def test_what_is_plainly_the_matter_comes_first(cause: Cause) -> None:
    cases = [make_case(cause, seed) for seed in range(3)]
    named = [next(iter(follow(one.expected, one.readings, one.first_charge_pct)[-1].by_cause())) for one in cases]
    assert named.count(cause) >= 2, named


def test_healthy_days_are_not_accused() -> None:
    cases = [make_case(Cause.NONE, seed) for seed in range(6)]
    named = [next(iter(follow(one.expected, one.readings, one.first_charge_pct)[-1].by_cause())) for one in cases]
    assert named.count(Cause.NONE) >= 5, named


@pytest.mark.deep
@pytest.mark.parametrize(
    ("words", "named"), [(None, CERTAIN), (Words.SINCE_VISIT, (*CERTAIN, *ALIKE))], ids=["forecast alone", "with words"]
)
def test_causes_are_named_as_often_as_is_wanted(words: Words | None, named: tuple[Cause, ...]) -> None:
    table = name_causes(300, 300, seed=41, words=words)
    rates, told = rates_of(table), render_table(table)
    assert all(rates[cause] >= (0.60 if cause in ALIKE else 0.85) for cause in named), told
    assert rates[Cause.NONE] >= 0.97, told


@pytest.mark.deep
@pytest.mark.parametrize(("spread_fraction", "words"), [(1.0, Words.SINCE_VISIT), (1.0, Words.HALF_DAYS), (0.5, None)])
def test_over_many_days_what_looks_alike_is_told_apart_as_the_developers_page_says(
    spread_fraction: float, words: Words | None
) -> None:
    table = name_causes(800, 400, seed=42, spread_fraction=spread_fraction, faulty=ALIKE, words=words)
    rates, told = rates_of(table), render_table(table)
    assert all(rates[cause] >= 0.60 for cause in ALIKE), told
    assert rates[Cause.NONE] >= 0.97, told


def test_odds_add_up_to_one_after_every_reading() -> None:
    case = make_case(Cause.WEAK_ARRAY, 5)
    for belief in follow(case.expected, case.readings, case.first_charge_pct):
        assert belief.odds_fraction.sum() == pytest.approx(1.0)
        assert (belief.odds_fraction >= 0.0).all()


def test_a_second_look_at_once_makes_nobody_doubt_a_yard() -> None:
    for seed in range(3):
        case = make_case(Cause.NONE, seed)
        twice = [reading for reading in case.readings for _ in range(2)]
        once = follow(case.expected, case.readings, case.first_charge_pct)[-1].by_cause()[Cause.NONE]
        assert follow(case.expected, twice, case.first_charge_pct)[-1].by_cause()[Cause.NONE] > once - 0.05


def test_what_begins_to_be_the_matter_does_so_as_time_goes() -> None:
    # With nothing read between, one in five yards gets something within a day.
    case = make_case(Cause.NONE, 1)
    follower = _Follower(case.expected, deviations_of(case.expected), {}, SeenSky(case.expected, []))
    whole, halves = follower._begin(50.0), follower._begin(50.0)
    follower._may_change(whole, 24.0)
    assert whole.odds[0].sum() == pytest.approx(0.8)
    for _ in range(2):
        follower._may_change(halves, 12.0)
    assert halves.odds[0].sum() == pytest.approx(0.8, abs=0.005)


def test_a_yard_is_sound_at_its_first_reading_whatever_it_shows() -> None:
    case = make_case(Cause.NONE, 1)
    assert follow(case.expected, case.readings[:1], {}) == []


def test_the_three_suns_stand_at_their_places() -> None:
    suns = make_case(Cause.NONE, 2).expected.suns
    for name, place in (("dull", -1.2816), ("likely", 0.0), ("bright", 1.2816)):
        assert sun_at_w(suns, np.array([[place]]))[:, 0] == pytest.approx(suns.by_name[name], abs=1e-6)


def test_a_day_in_ten_is_duller_than_dull() -> None:
    assert place_weights()[PLACES < -1.2816].sum() == pytest.approx(0.1, abs=0.02)


def test_a_display_shows_some_whole_percent() -> None:
    shown = [float(probability_of_whole(pct, np.array(97.0), np.array(3.0))) for pct in range(101)]
    assert sum(shown) == pytest.approx(1.0)
    assert shown[100] > shown[99], "what would be beyond full is shown as full"


def test_every_cause_has_a_prior_and_a_fault_to_try_it_with() -> None:
    assert set(PRIOR_FRACTION) == set(Cause) - {Cause.NONE}
    assert sum(PRIOR_FRACTION.values()) == pytest.approx(1.0)
    assert set(FAULTS) == set(Cause)


def test_deviations_share_the_prior_of_their_causes() -> None:
    deviations = deviations_of(make_case(Cause.NONE, 3).expected)
    assert deviations[0].cause is Cause.NONE
    assert sum(one.prior_fraction for one in deviations) == pytest.approx(1.0)
    of_strings = [one for one in deviations if one.cause is Cause.STRING_OFF]
    assert [one.array_fraction for one in of_strings] == [(0.5,)]


def test_a_charger_that_was_never_plugged_in_is_not_accused() -> None:
    expected = make_case(Cause.NONE, 4).expected
    drawn_wh = expected.wall_wh.sum(axis=0)
    idle = {machine.name for machine, wh in zip(expected.yard.machines, drawn_wh, strict=True) if not wh}
    accused = {one.dead_charger for one in deviations_of(expected)}
    assert not idle & accused
