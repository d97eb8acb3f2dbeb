"""R4 and R11 where the house cannot hold: the schedule that is least short, and how far that is proven."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from scheduler.planning import shortage
from scheduler.planning.house import HouseAlone
from scheduler.planning.planner import Settings, build_case, make_plan
from scheduler.planning.record import AimStatus
from scheduler.planning.solve import Solution, SolveStatus, solve_cbc
from scheduler.sun.suns import ThreeSuns
from scheduler.yard.agenda import Agenda, DutyWindow
from scheduler.yard.models import HouseLoad, Yard
from tests.oracle_house import shortage_wh
from tests.planning.replay_samples import make_agenda, make_bank, make_suns, make_yard

FAN = HouseLoad(name="fan", watts=300.0, hours_per_day=3.0, min_block_h=1.0)


def windy(level_pct: float = 11.0) -> tuple[Yard, Agenda, ThreeSuns]:
    """A fan of 900 Wh a day, a bank with 100 Wh above its reserve, and 150 W of sun in two hours."""
    yard = make_yard(house_loads=[FAN], bank=make_bank(level_pct=level_pct))
    agenda = make_agenda(yard, 8, duties=[DutyWindow("fan", 0, 8, 3, 1)])
    return yard, agenda, make_suns(agenda, [0.0, 0.0, 150.0, 150.0, 0.0, 0.0, 0.0, 0.0])


def faring(level_pct: float = 11.0) -> HouseAlone:
    return build_case(*windy(level_pct)).house


def test_a_house_that_holds_has_nothing_to_prove() -> None:
    assert faring(level_pct=90.0).aim is None


def test_the_least_shortage_is_an_aim_in_kwh_over_the_steps() -> None:
    house = faring()
    assert not house.holds
    assert house.aim is not None
    # Bank and sun have 400 Wh for the first hour; of the 600 Wh of the last two, 200 and then 500 Wh are lacking.
    assert house.aim.value == pytest.approx(0.2 + 0.5)
    assert house.aim.value == pytest.approx(shortage_wh(build_case(*windy()), house.duty) / 1000.0)
    assert (house.aim.status, house.aim.gap) == (AimStatus.PROVEN, 0.0)


@pytest.mark.parametrize(
    ("bound", "status", "gap"),
    [(None, AimStatus.TIME_LIMIT, None), (0.35, AimStatus.GAP, 0.5), (0.7, AimStatus.PROVEN, 0.0)],
)
def test_a_search_that_ran_out_of_time_says_how_far_it_came(
    monkeypatch: pytest.MonkeyPatch, bound: float | None, status: AimStatus, gap: float | None
) -> None:
    def stopped(problem: object, limit_s: float) -> Solution:
        return replace(solve_cbc(problem, limit_s), status=SolveStatus.STOPPED, bound=bound)

    monkeypatch.setattr(shortage, "solve_cbc", stopped)
    aim = faring().aim
    assert aim is not None
    assert (aim.status, aim.gap) == (status, gap if gap is None else pytest.approx(gap))


def test_without_an_answer_the_loads_run_where_the_sun_is_and_nothing_is_called_proven(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    nothing = Solution(SolveStatus.NOTHING, {}, None, None, 5.0)
    monkeypatch.setattr(shortage, "solve_cbc", lambda problem, limit_s: nothing)
    yard, agenda, suns = windy()
    made_at = dt.datetime(2026, 5, 1, tzinfo=dt.UTC)
    plan = make_plan(yard, agenda, suns, Settings(), made_at)
    assert [(aim.name, aim.status) for aim in plan.aims[:1]] == [("house's shortage", AimStatus.TIME_LIMIT)]
    (fan,) = plan.house_loads
    assert fan.wall_wh[2:5].tolist() == [300.0, 300.0, 300.0]
