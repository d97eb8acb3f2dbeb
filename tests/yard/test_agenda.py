"""Visits, needs, absences and duty windows on the grid (R1, R9 to R11)."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.errors import UsageError
from scheduler.timegrid import STEP_MINUTES, Grid, next_full_step
from scheduler.yard.agenda import Agenda, DutyWindow, Span, build_agenda
from scheduler.yard.models import HouseLoad, Machine, Need, Visits, Yard
from tests.strategies import WEEKDAYS, minutes_of_day, moments, yards

MONDAY = "2027-06-07T04:00-04:00"  # a Monday, 04:00 on the yard's clock
HOUR = dt.timedelta(hours=1)
QUARTER = dt.timedelta(minutes=15)


def at(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text).astimezone(dt.UTC)


def yard_with(
    *machines: Machine,
    times: tuple[Any, ...] = ("07:00", "17:00"),
    zone: str = "America/New_York",
    **tables: Any,
) -> Yard:
    return Yard(
        site={"latitude": 36.1, "longitude": -79.95, "timezone": zone},
        arrays=({"name": "roof", "panels": 4, "panel_w": 400, "tilt_deg": 25, "azimuth_deg": 180},),
        bank={"modules_wh": (5120,), "reserve_pct": 25, "level_pct": 75},
        inverter={"continuous_w": 2000},
        outlets=({"name": "A", "kind": "ac"},),
        visits={"times": times} if isinstance(times, tuple) else times,
        machines=machines,
        **tables,
    )


def machine(*needs: dict[str, Any], name: str = "cart", **keys: Any) -> Machine:
    asked = tuple(Need(**{"energy_wh": 100, **need}) for need in needs)
    return Machine(name=name, battery_wh=1000, charger_w=100, charge_pct=50, needs=asked, **keys)


def plan(yard: Yard, now: str = MONDAY, **span: Any) -> Agenda:
    return build_agenda(yard, Span(now=at(now), **span))


def clocks(agenda: Agenda, edges: tuple[int, ...]) -> list[str]:
    return [f"{agenda.grid.local(edge):%a %H:%M}" for edge in edges]


# ---------------------------------------------------------------- R1: the step


@pytest.mark.parametrize(
    ("visits", "ready_by", "away_h", "step_minutes"),
    [
        (("07:00",), "12:00", 2.0, 60),
        (("07:30",), "12:00", 2.0, 30),
        (("07:00",), "12:30", 2.0, 30),
        (("07:00",), "12:00", 2.5, 30),
        (("07:00",), "12:00", 2.25, 15),
        (("07:15",), "12:00", 2.0, 15),
        (("07:00",), "12:45", 2.0, 15),
        (("07:05",), "12:00", 2.0, 60),  # moves to 07:00
        (("07:00",), "12:14", 0.0, 60),  # moves to 12:00
        (("07:00",), "12:14", 2.0, 15),  # and the return to 14:15
    ],
)
def test_the_longest_step_is_taken_on_which_everything_falls(
    visits: tuple[str, ...], ready_by: str, away_h: float, step_minutes: int
) -> None:
    agenda = plan(yard_with(machine({"ready_by": ready_by, "away_h": away_h}), times=visits))
    assert agenda.grid.step_minutes == step_minutes


def test_a_return_after_a_drawn_out_absence_counts_for_the_step() -> None:
    agenda = plan(yard_with(machine(away_until="2027-06-07 09:30")))
    assert agenda.grid.step_minutes == 30


def test_a_start_off_the_hour_makes_the_step_shorter() -> None:
    assert plan(yard_with(), start=at("2027-06-07T04:30-04:00")).grid.step_minutes == 30
    assert plan(yard_with(), start=at("2027-06-07T04:45-04:00")).grid.step_minutes == 15


def test_a_shorter_step_may_be_asked_for() -> None:
    for step_minutes in STEP_MINUTES:
        assert plan(yard_with(), step_minutes=step_minutes).grid.step_minutes == step_minutes


def test_a_step_too_long_is_refused_with_one_that_fits() -> None:
    with pytest.raises(UsageError, match=r"--step 60: a visit at Mon 07 Jun 07:30 falls .*; try --step 30$"):
        plan(yard_with(times=("07:30",)), step_minutes=60)
    with pytest.raises(UsageError, match=r"--step 60: .*; try --step 15$"):
        plan(yard_with(times=("07:30", "12:15")), step_minutes=60)
    with pytest.raises(
        UsageError, match=r"--step 30: ready-by of cart at Mon 07 Jun 12:15 .*; try --step 15$"
    ):
        plan(yard_with(machine({"ready_by": "12:15"})), step_minutes=30)


@pytest.mark.parametrize("step_minutes", [0, 10, 45, 120, -15])
def test_only_the_three_steps_are_known(step_minutes: int) -> None:
    with pytest.raises(UsageError, match="wanted 60, 30 or 15 minutes"):
        plan(yard_with(), step_minutes=step_minutes)


# ---------------------------------------------------------------- R1: rounding, told in notes


@pytest.mark.parametrize(
    ("written", "planned"),
    [("06:52", "06:45"), ("06:53", "07:00"), ("07:07", "07:00"), ("07:08", "07:15"), ("07:15", "07:15")],
)
def test_visits_move_to_the_nearest_quarter_hour(written: str, planned: str) -> None:
    agenda = plan(yard_with(times=(written,)))
    assert clocks(agenda, agenda.visits) == [f"Mon {planned}"]
    told = (f"the visit at {written} is planned for {planned}, the nearest quarter hour",)
    assert agenda.notes == (told if written != planned else ())


def test_ready_by_moves_to_the_earlier_quarter_hour_and_the_return_to_the_later() -> None:
    agenda = plan(yard_with(machine({"ready_by": "08:14", "away_h": 2.0})))
    (need, _) = agenda.needs["cart"]
    assert clocks(agenda, (need.edge, need.return_edge)) == ["Mon 08:00", "Mon 10:15"]
    assert agenda.notes == (
        "cart: ready by 08:14 is planned for 08:00, the earlier quarter hour",
        "cart is taken to be back at 10:15, the later quarter hour",
    )


def test_a_machine_that_does_not_go_away_comes_back_at_once() -> None:
    agenda = plan(yard_with(machine({"ready_by": "08:14"})))
    (need, _) = agenda.needs["cart"]
    assert need.return_edge == need.edge
    assert len(agenda.notes) == 1
    assert not agenda.away["cart"].any()


def test_a_return_from_an_absence_moves_to_the_later_quarter_hour() -> None:
    agenda = plan(yard_with(machine(away_until="2027-06-07 09:31")))
    assert agenda.away["cart"].nonzero()[0].tolist() == list(range(23))
    assert agenda.notes == ("cart is taken to be back at 09:45, the later quarter hour",)


def test_a_start_off_the_quarter_hour_moves_on_with_a_note() -> None:
    agenda = plan(yard_with(), start=at("2027-06-07T04:50-04:00"))
    assert f"{agenda.grid.local(0):%H:%M}" == "05:00"
    assert agenda.grid.step_minutes == 60
    assert agenda.notes == ("the start moves to Mon 07 Jun 05:00, the next quarter hour",)


# ---------------------------------------------------------------- R1: from when to when


@pytest.mark.parametrize(
    ("zone", "now", "begin"),
    [
        ("America/New_York", "2027-06-07T04:20-04:00", "05:00"),
        ("America/New_York", "2027-06-07T04:00-04:00", "04:00"),
        ("Asia/Kolkata", "2027-06-07T04:20+05:30", "05:00"),
        ("Asia/Kathmandu", "2027-06-07T04:20+05:45", "05:00"),
        ("America/St_Johns", "2027-06-07T04:59-02:30", "05:00"),
    ],
)
def test_a_plan_begins_with_the_next_full_step_on_the_sites_clock(zone: str, now: str, begin: str) -> None:
    agenda = plan(yard_with(zone=zone), now=now)
    assert f"{agenda.grid.local(0):%H:%M}" == begin
    assert agenda.grid.step_minutes == 60
    assert clocks(agenda, agenda.visits) == ["Mon 07:00", "Mon 17:00"]


def test_a_plan_in_quarter_hours_begins_with_the_next_quarter_hour() -> None:
    agenda = plan(yard_with(times=("07:15",)), now="2027-06-07T04:20-04:00")
    assert f"{agenda.grid.local(0):%H:%M}" == "04:30"


@pytest.mark.parametrize(
    ("needs", "hours"),
    [
        ((), 24),
        (({"ready_by": "2027-06-07 09:00"},), 24),
        (({"ready_by": "2027-06-08 09:00"},), 29),
        (({"ready_by": "2027-06-09 04:00"},), 48),
        (({"ready_by": "2027-06-08 09:30"},), 29.5),
        (({"ready_by": "2027-06-09 05:00"},), 24),
        (({"ready_by": "2027-06-09 03:00", "away_h": 8.0},), 47),
        (({"ready_by": "09:00"},), 29),
        (({"ready_by": "09:00", "weekdays": ("mon", "thu")},), 24),
        (({"ready_by": "03:00"}, {"ready_by": "2027-06-08 09:00"}), 47),
    ],
)
def test_a_plan_runs_to_the_last_need_within_two_days_and_a_day_at_least(needs: Any, hours: float) -> None:
    agenda = plan(yard_with(machine(*needs)))
    assert (agenda.grid.end - agenda.grid.start) / HOUR == hours


def test_a_plan_runs_for_the_hours_asked_for_in_whole_steps() -> None:
    assert plan(yard_with(), hours=7.0).grid.n_steps == 7
    assert plan(yard_with(), hours=7.25).grid.n_steps == 8
    assert plan(yard_with(), hours=7.25, step_minutes=15).grid.n_steps == 29
    agenda = plan(yard_with(machine({"ready_by": "11:00"})), hours=6.2)
    assert [need.edge for need in agenda.needs["cart"]] == [7]


@pytest.mark.parametrize("hours", [0.0, -3.0, float("nan"), 1e12])
def test_hours_that_make_no_plan_are_refused(hours: float) -> None:
    with pytest.raises(UsageError, match="--hours"):
        plan(yard_with(), hours=hours)


def test_a_plan_ends_with_its_weather_and_says_what_it_leaves_out() -> None:
    yard = yard_with(machine({"ready_by": "09:00"}, {"ready_by": "16:00", "weekdays": ("tue",)}))
    agenda = plan(yard, weather_end=at("2027-06-07T20:30-04:00"))
    assert f"{agenda.grid.local(agenda.grid.n_steps):%a %H:%M}" == "Mon 20:00"
    assert clocks(agenda, tuple(need.edge for need in agenda.needs["cart"])) == ["Mon 09:00"]
    told = (
        "the weather is known until Mon 07 Jun 20:30: the plan ends there; needs after that are left out (2)"
    )
    assert agenda.notes == (told,)
    assert plan(yard, weather_end=at("2027-06-08T16:00-04:00")).notes == ()


@pytest.mark.parametrize("hours", [None, 10.25, 10.5, 10.75, 30.0])
@pytest.mark.parametrize("known_h", [10.5, 11.0, 36.0])
def test_no_plan_runs_past_its_weather(hours: float | None, known_h: float) -> None:
    end = at(MONDAY) + dt.timedelta(hours=known_h)
    assert plan(yard_with(), hours=hours, weather_end=end).grid.end <= end


def test_weather_that_ends_before_the_first_step_is_refused() -> None:
    with pytest.raises(
        UsageError, match=r"the weather is known until Mon 07 Jun 04:30; the plan would begin at Mon"
    ):
        plan(yard_with(), weather_end=at("2027-06-07T04:30-04:00"))
    with pytest.raises(UsageError, match="give a newer forecast or an earlier --from"):
        plan(yard_with(), weather_end=at("2027-06-01T00:00-04:00"))


# ---------------------------------------------------------------- R10: visits


def test_the_start_is_a_visit_only_if_one_falls_on_it_or_somebody_is_there() -> None:
    assert plan(yard_with(times=("07:00",))).visits == (3,)
    assert plan(yard_with(times=("07:00",)), here=True).visits == (0, 3)
    assert plan(yard_with(times=("04:00",))).visits == (0,)
    assert plan(yard_with(times=("04:00",)), here=True).visits == (0,)
    assert plan(yard_with(times=()), here=True).visits == (0,)


def test_the_end_is_no_visit() -> None:
    agenda = plan(yard_with(times=("10:00",)), hours=6.0)
    assert agenda.visits == ()
    assert plan(yard_with(times=("10:00",)), hours=7.0).visits == (6,)


def test_a_weekday_has_its_own_visits() -> None:
    agenda = plan(yard_with(times={"times": ("07:00",), "tue": ("06:00", "24:00"), "wed": ()}), hours=72.0)
    assert clocks(agenda, agenda.visits) == ["Mon 07:00", "Tue 06:00", "Wed 00:00"]


def test_two_visits_that_move_to_the_same_quarter_hour_are_one() -> None:
    agenda = plan(yard_with(times=("06:58", "07:00", "07:02")))
    assert clocks(agenda, agenda.visits) == ["Mon 07:00"]


# ---------------------------------------------------------------- R9: needs and absences


def test_a_dated_need_already_past_is_left_out_with_a_note() -> None:
    yard = yard_with(
        machine({"ready_by": "2027-06-07 03:00", "away_h": 4.0}, {"ready_by": "2027-06-07 09:00"})
    )
    agenda = plan(yard)
    assert [need.edge for need in agenda.needs["cart"]] == [5]
    assert agenda.notes == ("cart: the need of Mon 07 Jun 03:00 is past and left out",)


def test_a_daily_need_already_past_is_silent_unless_the_machine_would_still_be_out() -> None:
    assert plan(yard_with(machine({"ready_by": "03:00"}))).notes == ()
    out = {"ready_by": "03:00", "away_h": 4.0}
    told = (
        "cart: the need of Mon 07 Jun 03:00 is past; it is taken to be in the yard at the start "
        "(away_until says otherwise)",
    )
    assert plan(yard_with(machine(out))).notes == told
    assert plan(yard_with(machine(out, away_until="2027-06-07 07:00"))).notes == ()
    assert plan(yard_with(machine(out, outlet="A"))).notes == ()


def test_a_need_at_the_start_and_one_at_the_end_count() -> None:
    agenda = plan(yard_with(machine({"ready_by": "04:00"}, {"ready_by": "16:00"})), hours=12.0)
    assert [need.edge for need in agenda.needs["cart"]] == [0, 12]


def test_needs_stand_in_time_order_with_what_they_ask() -> None:
    yard = yard_with(
        machine(
            {"ready_by": "16:00", "energy_wh": 300, "priority": "must"}, {"ready_by": "09:00"}, floor_pct=10
        )
    )
    agenda = plan(yard, hours=24.0)
    assert [(need.edge, need.need_wh, need.work_wh, need.priority) for need in agenda.needs["cart"]] == [
        (5, 200.0, 100.0, "should"),
        (12, 400.0, 300.0, "must"),
    ]


def test_a_machine_is_away_from_ready_by_until_its_return() -> None:
    agenda = plan(yard_with(machine({"ready_by": "09:00", "away_h": 3.0})), hours=24.0)
    assert agenda.away["cart"].nonzero()[0].tolist() == [5, 6, 7]


def test_an_absence_past_the_end_lasts_to_the_end() -> None:
    agenda = plan(yard_with(machine({"ready_by": "09:00", "away_h": 9.3})), hours=8.0)
    (need,) = agenda.needs["cart"]
    assert need.return_edge == 8
    assert agenda.away["cart"].nonzero()[0].tolist() == [5, 6, 7]


@pytest.mark.parametrize(
    ("until", "steps"),
    [("2027-06-07 03:00", 0), ("2027-06-07 04:00", 0), ("2027-06-07 08:00", 4), ("2027-06-20 08:00", 24)],
)
def test_a_machine_may_be_out_when_the_plan_begins(until: str, steps: int) -> None:
    agenda = plan(yard_with(machine(away_until=until)))
    assert agenda.away["cart"].nonzero()[0].tolist() == list(range(steps))


# ---------------------------------------------------------------- days of 23 and 25 hours


@pytest.mark.parametrize(
    ("start", "visit_edge", "next_edge"),
    [
        ("2027-03-12T20:00-05:00", 11, 34),  # one ordinary night, then the short one
        ("2027-03-13T20:00-05:00", 10, 34),
        ("2027-11-05T20:00-04:00", 11, 36),
        ("2027-11-06T20:00-04:00", 12, 36),
    ],
)
def test_visits_and_needs_follow_the_clock_through_its_changes(
    start: str, visit_edge: int, next_edge: int
) -> None:
    agenda = plan(yard_with(machine({"ready_by": "07:00", "away_h": 2.0}), times=("07:00",)), now=start)
    assert agenda.visits == (visit_edge,)  # the second falls on the end
    assert [need.edge for need in agenda.needs["cart"]] == [visit_edge, next_edge]
    assert agenda.grid.n_steps == next_edge


@pytest.mark.parametrize(
    ("start", "shown", "edge"),
    [("2027-03-13T20:00-05:00", "03:00", 6), ("2027-11-06T20:00-04:00", "02:00", 7)],
)
def test_two_in_the_morning_is_planned_once_though_the_clock_skips_it_or_shows_it_late(
    start: str, shown: str, edge: int
) -> None:
    agenda = plan(yard_with(times=("02:00",)), now=start, hours=24.0)
    assert agenda.visits == (edge,)
    assert clocks(agenda, agenda.visits) == [f"Sun {shown}"]


def test_a_time_shown_twice_is_the_first_of_the_two() -> None:
    agenda = plan(yard_with(times=("01:30",)), now="2027-11-06T20:00-04:00", hours=24.0)
    assert agenda.grid.step_minutes == 30
    assert agenda.visits == (11,)
    assert agenda.grid.local(11).utcoffset() == dt.timedelta(hours=-4)


def test_a_zone_that_changes_by_half_an_hour_gets_half_hour_steps() -> None:
    agenda = plan(yard_with(zone="Australia/Lord_Howe"), now="2027-04-03T20:00+11:00")
    assert agenda.grid.step_minutes == 30
    assert clocks(agenda, agenda.visits) == ["Sun 07:00", "Sun 17:00"]


# ---------------------------------------------------------------- R11: duty windows


def duties(
    now: str = MONDAY, hours: float = 48.0, step_minutes: int | None = None, **load: Any
) -> tuple[DutyWindow, ...]:
    fan = HouseLoad(**{"name": "fan", "watts": 80, "hours_per_day": 3, **load})
    return plan(yard_with(house_loads=(fan,)), now=now, hours=hours, step_minutes=step_minutes).duties


def steps(windows: tuple[DutyWindow, ...]) -> list[tuple[int, int, int]]:
    return [(window.first, window.last, window.on_steps) for window in windows]


def test_a_duty_load_runs_its_hours_on_each_local_day_inside_its_window() -> None:
    assert steps(duties(window=("10:00", "18:00"))) == [(6, 14, 3), (30, 38, 3)]


def test_a_window_over_midnight_belongs_to_the_day_on_which_it_opens() -> None:
    # the first has run since 22:00 of the day before: 2 of its 8 hours are left, a quarter of its time
    assert steps(duties(window=("22:00", "06:00"), hours_per_day=4)) == [(0, 2, 1), (18, 26, 4), (42, 48, 3)]


@pytest.mark.parametrize("hours_per_day", [1.0, 2.5, 4.0, 7.0])
@pytest.mark.parametrize("min_block_h", [None, 1.0])
def test_a_cut_window_never_gets_more_than_the_hours_of_a_day(
    hours_per_day: float, min_block_h: float | None
) -> None:
    whole_steps = -int(-hours_per_day // 1)
    for hours in range(1, 30):
        for window in duties(
            hours=hours, window=("03:00", "13:00"), hours_per_day=hours_per_day, min_block_h=min_block_h
        ):
            assert 1 <= window.on_steps <= min(whole_steps, window.last - window.first)
            assert window.min_steps <= window.on_steps


def test_a_cut_window_too_short_for_the_shortest_block_gets_nothing() -> None:
    # the window closes an hour after the start, the compressor runs two hours at least
    assert steps(duties(window=("00:00", "05:00"), hours_per_day=4, min_block_h=2, hours=24.0)) == [
        (20, 24, 4)
    ]


def test_hours_off_the_step_are_rounded_up_with_a_note() -> None:
    fan = HouseLoad(name="fan", watts=80, hours_per_day=2.5, window=("10:00", "18:00"))
    agenda = plan(yard_with(house_loads=(fan,)), hours=24.0)
    assert steps(agenda.duties) == [(6, 14, 3)]
    assert agenda.notes == ("fan: 2.5 h a day become 3 h, whole steps",)
    assert plan(yard_with(house_loads=(fan,)), hours=24.0, step_minutes=30).notes == ()


def test_a_window_off_the_step_holds_only_whole_steps_with_a_note() -> None:
    fan = HouseLoad(name="fan", watts=80, hours_per_day=3, window=("10:30", "13:30"))
    agenda = plan(yard_with(house_loads=(fan,)), hours=24.0)
    assert steps(agenda.duties) == [(7, 9, 2)]
    assert agenda.notes == ("fan: its window of Mon 07 Jun 10:30 holds only 2 h of whole steps",)


def test_shortest_blocks_are_rounded_up_to_whole_steps() -> None:
    (window,) = duties(window=("10:00", "18:00"), hours_per_day=4, min_block_h=1.25, hours=24.0)
    assert window.min_steps == 2


@pytest.mark.parametrize(
    ("start", "length"),
    [("2027-03-14T00:00-05:00", 23), ("2027-11-07T00:00-04:00", 25), ("2027-06-07T00:00-04:00", 24)],
)
def test_a_window_of_a_whole_day_has_its_23_24_or_25_hours(start: str, length: int) -> None:
    (window, *_) = duties(now=start, hours_per_day=24)
    assert (window.first, window.last) == (0, length)
    assert window.on_steps == min(24, length)


def drying(hours_on: dict[str, float], hours: float = 48.0, **load: Any) -> Agenda:
    dryer = HouseLoad(**{"name": "dryer", "watts": 300, "wanted_rh_pct": 50, "room_m3": 60, **load})
    by_day = {dt.date.fromisoformat(day): run_h for day, run_h in hours_on.items()}
    span = Span(now=at(MONDAY), hours=hours)
    return build_agenda(yard_with(house_loads=(dryer,)), span, {"dryer": by_day})


def test_hours_that_follow_the_weather_differ_from_day_to_day_and_are_rounded_up_without_a_note() -> None:
    agenda = drying({"2027-06-07": 2.2, "2027-06-08": 5.0}, window=("10:00", "18:00"))
    assert steps(agenda.duties) == [(6, 14, 3), (30, 38, 5)]
    assert agenda.notes == ()


def test_a_day_that_asks_for_no_hours_has_no_window_even_where_it_is_cut() -> None:
    assert steps(drying({"2027-06-07": 0.0, "2027-06-08": 1.0}, window=("10:00", "18:00")).duties) == [(30, 38, 1)]
    cut = drying({"2027-06-07": 0.0, "2027-06-08": 0.0}, hours=6.0, window=("00:00", "24:00"), min_block_h=2.0)
    assert cut.duties == ()


def test_a_day_of_which_nothing_is_known_runs_its_whole_window() -> None:
    assert steps(drying({"2027-06-07": 2.0}, window=("10:00", "18:00")).duties) == [(6, 14, 2), (30, 38, 8)]


def test_a_cut_window_gets_its_share_of_that_days_hours() -> None:
    # the plan begins at 04:00: 20 of the day's 24 hours are left, and 20 of 24 of its 6 hours
    assert steps(drying({"2027-06-07": 6.0}, hours=20.0).duties) == [(0, 20, 5)]


def test_a_load_that_is_always_on_has_no_window() -> None:
    lamp = HouseLoad(name="lamp", watts=10, always_on=True)
    assert plan(yard_with(house_loads=(lamp,))).duties == ()


# ---------------------------------------------------------------- against a clock read quarter by quarter
#
# Nothing below shares code with the agenda: it reads the site's clock every 15 minutes and looks what is due.
# Times before 04:00 are left out, for the clock skips or doubles some of them.

daytime_quarters = st.integers(16, 96).map(lambda quarter: 15 * quarter)


def _quarters(begin: dt.datetime, end: dt.datetime, yard: Yard) -> Iterator[tuple[dt.datetime, str, int]]:
    """Each quarter hour from `begin` to `end` with its weekday and minute of the day; midnight ends a day."""
    moment = begin
    while moment <= end:
        local = moment.astimezone(yard.site.zone)
        minute = local.hour * 60 + local.minute or 1440
        day = local.date() if minute < 1440 else local.date() - dt.timedelta(days=1)
        yield moment, WEEKDAYS[day.weekday()], minute
        moment += QUARTER


def _is_visit(visits: Visits, weekday: str, minute: int) -> bool:
    own = getattr(visits, weekday)
    return minute in (visits.times if own is None else own)


def _is_due(need: Need, weekday: str, minute: int) -> bool:
    return need.ready_by == minute and (need.weekdays is None or weekday in need.weekdays)


def _end(yard: Yard, begin: dt.datetime) -> dt.datetime:
    due = [
        moment
        for moment, weekday, minute in _quarters(begin, begin + 48 * HOUR, yard)
        for each in yard.machines
        if any(_is_due(need, weekday, minute) for need in each.needs)
    ]
    return max([begin + 24 * HOUR, *due])


def _fits(yard: Yard, now: dt.datetime, step_minutes: int) -> bool:
    begin = next_full_step(now, step_minutes, yard.site.zone)
    end = _end(yard, begin)
    marks = []
    for moment, weekday, minute in _quarters(begin, end, yard):
        if moment < end and _is_visit(yard.visits, weekday, minute):
            marks.append(moment)
        for need in (need for each in yard.machines for need in each.needs if _is_due(need, weekday, minute)):
            marks += [moment, moment + dt.timedelta(hours=need.away_h)]
    return all(
        (mark - begin) % dt.timedelta(minutes=step_minutes) == dt.timedelta() for mark in marks if mark <= end
    )


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(yards(minutes=daytime_quarters), moments)
def test_the_agenda_is_what_the_clock_on_the_wall_shows(yard: Yard, now: dt.datetime) -> None:
    agenda = build_agenda(yard, Span(now=now))
    grid = agenda.grid
    assert grid.start == next_full_step(now, grid.step_minutes, yard.site.zone)
    assert grid.end == _end(yard, grid.start)
    assert grid.step_minutes == next(minutes for minutes in STEP_MINUTES if _fits(yard, now, minutes))
    shown = [(grid.index_of(moment), weekday, minute) for moment, weekday, minute in _on_edges(grid, yard)]
    assert agenda.visits == tuple(
        edge
        for edge, weekday, minute in shown
        if edge < grid.n_steps and _is_visit(yard.visits, weekday, minute)
    )
    for each in yard.machines:
        due = [
            (edge, need)
            for edge, weekday, minute in shown
            for need in each.needs
            if _is_due(need, weekday, minute)
        ]
        assert sorted((need.edge, need.need_wh) for need in agenda.needs[each.name]) == sorted(
            (edge, each.need_wh(need)) for edge, need in due
        )
        out = {edge + step for edge, need in due for step in range(round(need.away_h / grid.step_h))}
        assert set(agenda.away[each.name].nonzero()[0].tolist()) == {
            step for step in out if step < grid.n_steps
        }


def _on_edges(grid: Grid, yard: Yard) -> Iterator[tuple[dt.datetime, str, int]]:
    for moment, weekday, minute in _quarters(grid.start, grid.end, yard):
        if (moment - grid.start) % grid.step == dt.timedelta():
            yield moment, weekday, minute


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    yards(minutes=minutes_of_day),
    moments,
    st.none() | st.integers(1, 60).map(float),
    st.none() | st.integers(60, 5000).map(lambda minutes: dt.timedelta(minutes=minutes)),
    st.booleans(),
)
def test_whatever_the_times_everything_lies_on_the_grid(
    yard: Yard, now: dt.datetime, hours: float | None, known: dt.timedelta | None, here: bool
) -> None:
    weather_end = None if known is None else now + 2 * HOUR + known
    agenda = build_agenda(yard, Span(now=now, hours=hours, weather_end=weather_end, here=here))
    grid = agenda.grid
    assert weather_end is None or grid.end <= weather_end
    assert list(agenda.visits) == sorted(set(agenda.visits))
    assert all(0 <= edge < grid.n_steps for edge in agenda.visits)
    assert not here or 0 in agenda.visits
    for each in yard.machines:
        edges = [need.edge for need in agenda.needs[each.name]]
        assert edges == sorted(edges)
        for need in agenda.needs[each.name]:
            assert 0 <= need.edge <= need.return_edge <= grid.n_steps
            assert agenda.away[each.name][need.edge : need.return_edge].all()
    for load in yard.house_loads:
        windows = [window for window in agenda.duties if window.load == load.name]
        assert all(before.last <= after.first for before, after in pairwise(windows))
        for window in windows:
            assert 0 <= window.first < window.last <= grid.n_steps
            assert 1 <= window.min_steps <= window.on_steps <= window.last - window.first
            assert window.on_steps <= grid.steps_in(load.hours_per_day or 0)
            _stays_in_its_window(window, load, grid)


def _stays_in_its_window(window: DutyWindow, load: HouseLoad, grid: Grid) -> None:
    start, end = load.window_minutes
    for step in range(window.first, window.last):
        local = grid.local(step)
        minute = local.hour * 60 + local.minute
        # an hour that the clock shows twice may count as either, one that it skips moves the window by itself
        if (
            local.utcoffset()
            == (local - dt.timedelta(days=1)).utcoffset()
            == (local + dt.timedelta(days=1)).utcoffset()
        ):
            assert start <= minute < end or start <= minute + 1440 < end
