"""R3 and the inverter's share of R5 on the planner's side, against sums done by hand."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from scheduler.planning.bank import bank_path, dc_demand_w
from scheduler.timegrid import Grid
from tests.planning.replay_samples import make_bank, make_inverter

QUARTERS = Grid(dt.datetime(2027, 6, 9, 10, 0, tzinfo=dt.UTC), 15, 2, ZoneInfo("America/New_York"))
HOURS = Grid(dt.datetime(2027, 6, 9, 10, 0, tzinfo=dt.UTC), 60, 2, ZoneInfo("America/New_York"))


def test_the_bank_loses_on_the_way_in_and_on_the_way_out() -> None:
    bank = make_bank(charge_efficiency_pct=90.0, discharge_efficiency_pct=80.0)
    path = bank_path(bank, 5000.0, np.array([1000.0, -400.0]), HOURS)
    assert path.level_wh == pytest.approx([5000.0, 5900.0, 5400.0])
    assert path.unserved_wh == pytest.approx([0.0, 0.0])


def test_limits_are_watts_outside_the_bank_however_short_the_step() -> None:
    bank = make_bank(
        charge_max_w=400.0, discharge_max_w=600.0, charge_efficiency_pct=90.0, discharge_efficiency_pct=80.0
    )
    path = bank_path(bank, 5000.0, np.array([1500.0, -900.0]), QUARTERS)
    # 100 Wh in keep 90; 150 Wh out take 187.5; what is asked beyond takes 93.75 from nowhere.
    assert path.level_wh == pytest.approx([5000.0, 5090.0, 4902.5])
    assert path.unserved_wh == pytest.approx([0.0, 93.75])


def test_the_bank_neither_overflows_nor_gives_what_it_has_not() -> None:
    bank = make_bank(discharge_efficiency_pct=80.0)
    assert bank_path(bank, 9900.0, np.array([400.0, -80.0]), HOURS).level_wh == pytest.approx(
        [9900.0, 10000.0, 9900.0]
    )
    empty = bank_path(bank, 50.0, np.array([-80.0, 30.0]), HOURS)
    assert empty.level_wh == pytest.approx([50.0, 0.0, 30.0])
    assert empty.unserved_wh == pytest.approx([50.0, 0.0])


def test_many_paths_are_followed_at_once() -> None:
    net_w = np.array([[100.0, -100.0], [0.0, 200.0]])
    path = bank_path(make_bank(), 5000.0, net_w, HOURS)
    assert path.level_wh == pytest.approx(np.array([[5000.0, 5100.0, 5000.0], [5000.0, 5000.0, 5200.0]]))


@pytest.mark.parametrize(("off_when_unused", "unused_w"), [(False, 70.0), (True, 50.0)])
def test_ac_pays_the_inverter_and_dc_does_not(off_when_unused: bool, unused_w: float) -> None:
    inverter = make_inverter(efficiency_pct=80.0, idle_w=20.0, off_when_unused=off_when_unused)
    ac_w, dc_w = np.array([400.0, 0.0]), np.array([30.0, 50.0])
    demand_w = dc_demand_w(inverter, ac_w, dc_w, ac_w > 0)
    assert demand_w == pytest.approx([30.0 + 500.0 + 20.0, unused_w])
