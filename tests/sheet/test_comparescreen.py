"""Readings against what was expected, on the screen: what must be done first, cautions, a legend."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace

import pytest
from rich.console import Console

from scheduler.logbook.advice import ADVICE, BANK_CAUTION
from scheduler.logbook.causes import Cause
from scheduler.logbook.expectation import Expectation
from scheduler.logbook.verdicts import Interval, Named, judge
from scheduler.sheet.comparescreen import render_comparison
from scheduler.sheet.lowbank import UNPLUG
from tests.logbook.injected import make_case


@dataclass(frozen=True)
class Judged:
    """A week in which nothing was the matter, judged."""

    expected: Expectation
    intervals: list[Interval]


@pytest.fixture(scope="module")
def case() -> Judged:
    made = make_case(Cause.NONE, 10_003)
    return Judged(made.expected, judge(made.expected, made.readings, made.first_charge_pct))


def shown(case: Judged, last: Interval) -> list[str]:
    console = Console(width=100, file=io.StringIO())
    with console.capture() as capture:
        console.print(render_comparison(case.expected, [*case.intervals[:-1], last], (), 100))
    return [line.rstrip() for line in capture.get().splitlines()]


def last_of(case: Judged, cause: Cause, **changed: object) -> Interval:
    """The last interval as it would be if `cause` were named after it."""
    last = case.intervals[-1]
    named = (Named(cause, 0.9, "told in words"),)
    return replace(last, named=named, would_settle=("read the bank again",), **changed)  # type: ignore[arg-type]


def test_the_three_figures_have_their_legend_once_above_the_table(case: Judged) -> None:
    lines = shown(case, last_of(case, Cause.ARRAY_OFF))
    legend = [index for index, line in enumerate(lines) if "dull / the likely / the bright sun" in line]
    assert len(legend) == 1
    assert legend[0] == lines.index("THE BANK in percent, from reading to reading") + 1


@pytest.mark.parametrize("cause", [cause for cause in Cause if cause is not Cause.NONE])
def test_cautions_stand_before_everything_that_is_to_be_done_and_no_heading_over_nothing(
    case: Judged, cause: Cause
) -> None:
    lines = shown(case, last_of(case, cause))
    heading = lines.index("BEFORE YOU TOUCH ANYTHING")
    assert lines[heading + 1].startswith(ADVICE[cause].cautions[0][:40])
    assert heading < lines.index("WHAT WOULD SETTLE IT") < lines.index("LOOK AT FIRST: told in words")


def test_an_advice_without_cautions_has_no_heading_for_them(
    case: Judged, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(ADVICE, Cause.METER_STUCK, replace(ADVICE[Cause.METER_STUCK], cautions=()))
    lines = shown(case, last_of(case, Cause.METER_STUCK))
    assert "LOOK AT FIRST: told in words" in lines
    assert "BEFORE YOU TOUCH ANYTHING" not in lines


def test_a_stuck_display_warns_of_the_bank(case: Judged) -> None:
    assert BANK_CAUTION[:50] in "\n".join(shown(case, last_of(case, Cause.METER_STUCK)))


def test_a_last_reading_below_the_reserve_comes_before_all_else(case: Judged) -> None:
    reserve_pct = case.expected.yard.bank.reserve_pct
    low = shown(case, last_of(case, Cause.ARRAY_OFF, after_pct=reserve_pct - 1.0))
    assert low[0].startswith(f"BELOW THE RESERVE: the bank shows less than {reserve_pct:.0f} %.")
    assert UNPLUG in " ".join(low[:4])
    at_reserve = shown(case, last_of(case, Cause.ARRAY_OFF, after_pct=reserve_pct))
    assert "BELOW THE RESERVE" not in "\n".join(at_reserve)
