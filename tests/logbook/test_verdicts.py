"""What is said of an interval: in words, with odds, two causes where two cannot be told apart."""

from __future__ import annotations

import datetime as dt

import pytest

from scheduler.logbook.advice import AC_CAUTION, ADVICE, BANK_CAUTION
from scheduler.logbook.causes import Cause
from scheduler.logbook.expectation import Reading
from scheduler.logbook.verdicts import Interval, judge, odds_told
from tests.logbook.injected import make_case
from tests.logbook.test_expecting import at, expected_of, idle_yard


@pytest.mark.parametrize(
    ("fraction", "told"),
    [(0.5, "even"), (0.9, "9 to 1"), (0.999, "more than 100 to 1"), (0.1, "1 to 9"), (0.75, "3 to 1")],
)
def test_odds_are_told_as_people_say_them(fraction: float, told: str) -> None:
    assert odds_told(fraction) == told


def test_a_dead_array_is_told_in_words_with_what_to_look_at() -> None:
    case = make_case(Cause.ARRAY_OFF, 10_001)
    last = judge(case.expected, case.readings, case.first_charge_pct)[-1]
    assert "no solar at all" in last.verdict
    assert " to 1" in last.verdict
    assert not last.is_sound


def test_a_stuck_display_is_told_with_what_it_shows() -> None:
    case = make_case(Cause.METER_STUCK, 10_002)
    last = judge(case.expected, case.readings, case.first_charge_pct)[-1]
    assert f"stuck at {last.after_pct:.0f} %" in last.verdict


def test_the_band_lies_between_the_dull_and_the_bright_sun() -> None:
    case = make_case(Cause.NONE, 10_003)
    for one in judge(case.expected, case.readings, case.first_charge_pct):
        band = one.expected_pct
        assert band["dull"] <= band["likely"] + 1e-9
        assert band["likely"] <= band["bright"] + 1e-9


def test_what_cannot_be_told_apart_is_told_as_two() -> None:
    verdicts = [
        judge(case.expected, case.readings, case.first_charge_pct)[-1]
        for case in (make_case(Cause.STRING_OFF, seed) for seed in range(20_000, 20_012))
    ]
    told = [one.verdict for one in verdicts if len(one.named) == 2 and one.is_clear and not one.is_sound]
    assert told
    assert all("one of these two" in verdict for verdict in told), told


def judged(*shown: tuple[dt.datetime, float]) -> list[Interval]:
    """Verdicts on a yard in which nothing is plugged in, from what its bank showed."""
    readings = [Reading(moment, pct, {"cart": 100.0}) for moment, pct in shown]
    return judge(expected_of(idle_yard(), readings), readings, {})


def test_the_sun_is_no_reason_for_what_a_bank_shows_at_night() -> None:
    (risen,) = judged((at(22), 60.0), (at(4, 9), 85.0))
    assert risen.verdict.startswith("explained by nothing that is known here")
    assert not risen.is_sound
    assert not risen.is_clear
    assert any("read the bank again" in reading for reading in risen.would_settle)


def test_a_sky_duller_than_dull_is_told_where_it_could_leave_what_was_shown() -> None:
    expected_pct = judged((at(8), 40.0), (at(12), 40.0))[0].expected_pct
    (dull,) = judged((at(8), 40.0), (at(12), round(expected_pct["dull"] - 6.0)))
    assert dull.verdict.startswith("less sun than dull")
    assert dull.is_sound


def test_a_bank_read_again_and_again_that_shows_the_same_is_not_stuck() -> None:
    moments = [at(21) + dt.timedelta(minutes=15 * number) for number in range(8)]
    for one in judged(*((moment, 80.0) for moment in moments)):
        assert one.verdict.startswith("as expected"), one.verdict
        assert one.named[0].odds_fraction > 0.9


def test_a_display_that_shows_the_same_from_evening_to_noon_is_stuck() -> None:
    assert "stuck at 60 %" in judged((at(18), 60.0), (at(7, 9), 60.0), (at(10, 9), 60.0), (at(12, 9), 60.0))[-1].verdict


def test_every_cause_has_words_and_those_that_touch_direct_current_their_caution() -> None:
    assert set(ADVICE) == set(Cause)
    for cause, advice in ADVICE.items():
        assert cause is Cause.NONE or advice.look_at, cause
    for cause in (Cause.ARRAY_OFF, Cause.STRING_OFF, Cause.WEAK_ARRAY):
        assert any("qualified" in caution for caution in ADVICE[cause].cautions)


def test_whatever_sends_somebody_to_the_banks_cables_has_the_banks_caution() -> None:
    for cause in (Cause.METER_STUCK, Cause.INVERTER_OFF, Cause.EXTRA_LOAD, Cause.SMALL_BANK):
        assert BANK_CAUTION in ADVICE[cause].cautions, cause
    for cause in (Cause.INVERTER_OFF, Cause.EXTRA_LOAD):
        assert AC_CAUTION in ADVICE[cause].cautions, cause


def test_no_advice_is_without_a_caution() -> None:
    assert all(advice.cautions for cause, advice in ADVICE.items() if cause is not Cause.NONE)
