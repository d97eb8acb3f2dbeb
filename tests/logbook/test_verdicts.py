"""What is said of an interval: in words, with odds, two causes where two cannot be told apart."""

from __future__ import annotations

import pytest

from scheduler.logbook.advice import ADVICE
from scheduler.logbook.causes import Cause
from scheduler.logbook.verdicts import judge, odds_told
from tests.logbook.injected import make_case


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


def test_every_cause_has_words_and_those_that_touch_direct_current_their_caution() -> None:
    assert set(ADVICE) == set(Cause)
    for cause, advice in ADVICE.items():
        assert cause is Cause.NONE or advice.look_at, cause
    for cause in (Cause.ARRAY_OFF, Cause.STRING_OFF, Cause.WEAK_ARRAY):
        assert any("qualified" in caution for caution in ADVICE[cause].cautions)
