"""The hand that reads the page alone, visit by visit, and beside the tests' own hand over whole plans."""

from __future__ import annotations

from typing import Any

from scheduler.planning.record import IfAtLeast, IfBelow, PlugAction, VisitPlan
from scheduler.studies.hand import Hand
from scheduler.studies.living import Tally, YardState
from tests.studies.small_year import machine, plot

YARD = plot(machines=(machine("cart"), machine("mower"), machine("saw")))


class PlanOf:
    """As much of a plan as a hand reads."""

    def __init__(self, *visits: VisitPlan) -> None:
        self.visits = visits


def visit(edge: int, **lines: Any) -> VisitPlan:
    plain: dict[str, Any] = {"plug": (), "unplug": (), "bank_pct": {}}
    return VisitPlan(edge=edge, **{**plain, **lines})


def after(*visits: VisitPlan, level_pct: float = 50.0, outlet: list[str | None] | None = None) -> YardState:
    """The yard after a hand has come by at each visit, ten edges into the year."""
    state = YardState.of(YARD)
    state.level_wh = level_pct / 100.0 * YARD.bank.capacity_wh
    state.outlet = outlet or [None, None, None]
    hand = Hand(YARD, PlanOf(*visits), 10)  # type: ignore[arg-type]
    tally = Tally.begun(YARD, state.level_wh)
    for one in visits:
        hand.come_by(state, tally, one.edge + 10)
    return state


def test_sure_lines_are_done_unplugging_first() -> None:
    lines = visit(3, unplug=(PlugAction("cart", "bench"),), plug=(PlugAction("mower", "bench", (4, 6)),))
    state = after(lines, outlet=["bench", None, None])
    assert state.outlet == [None, "bench", None]
    assert state.timer == [None, (14, 16), None]


def test_nothing_is_done_where_the_page_has_no_visit() -> None:
    hand = Hand(YARD, PlanOf(visit(3, plug=(PlugAction("cart", "bench"),))), 10)  # type: ignore[arg-type]
    state = YardState.of(YARD)
    hand.come_by(state, Tally.begun(YARD, 0.0), 12)
    assert state.outlet == [None, None, None]


def test_an_if_line_counts_from_the_whole_percent_that_is_shown() -> None:
    line = visit(0, if_at_least=(IfAtLeast(51, "saw", "gate"),))
    assert after(line, level_pct=50.99).outlet[2] is None
    assert after(line, level_pct=51.0).outlet[2] == "gate"


def test_what_the_display_is_too_low_for_stays_out_and_comes_out() -> None:
    line = visit(
        0,
        plug=(PlugAction("mower", "gate"),),
        if_below=(IfBelow(45, "mower"), IfBelow(45, "cart"), IfBelow(40, "saw")),
    )
    low = after(line, level_pct=44.0, outlet=["bench", None, None])
    assert low.outlet == [None, None, None]
    enough = after(line, level_pct=45.0, outlet=["bench", None, None])
    assert enough.outlet == ["bench", "gate", None]


def test_no_if_line_is_followed_once_something_stayed_out() -> None:
    line = visit(2, if_at_least=(IfAtLeast(30, "saw", "gate"),))
    assert after(visit(0, if_below=(IfBelow(45, "cart"),)), line, level_pct=44.0).outlet[2] is None
    assert after(visit(0, if_below=(IfBelow(45, "cart"),)), line, level_pct=45.0).outlet[2] == "gate"


def test_what_an_if_line_lent_is_given_back_at_the_next_visit() -> None:
    lent = visit(0, if_at_least=(IfAtLeast(10, "saw", "gate"),))
    assert after(lent, visit(2)).outlet == [None, None, None]
    kept = visit(2, plug=(PlugAction("saw", "gate"),))
    assert after(lent, kept).outlet == [None, None, "gate"]
    followed = visit(2, plug=(PlugAction("mower", "gate"),))
    assert after(lent, followed).outlet == [None, "gate", None]


def test_a_machine_found_in_the_outlet_is_left_there() -> None:
    lines = visit(0, plug=(PlugAction("mower", "bench"),))
    assert after(lines, outlet=["bench", None, None]).outlet == ["bench", None, None]
