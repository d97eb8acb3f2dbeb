import datetime as dt
import json
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from scheduler.planning.planjson import plan_to_json, render_plan_json
from scheduler.planning.record import Aim, AimStatus, IfAtLeast, ReplayReport, Violation
from tests.sheet import sample


@pytest.fixture(scope="module")
def field():
    plan = sample.field_plan()
    return plan, json.loads(render_plan_json(plan, sample.field_yard()))


def test_the_fields_of_version_1_are_all_there(field):
    _, data = field
    assert data["format"] == "sunroster.plan/1"
    assert data["timezone"] == "America/New_York"
    assert {
        "format", "site", "timezone", "made_at", "step_minutes", "starts", "sun_w", "shed_temp_c", "bank",
        "machines", "house_loads", "inverter_peak_w", "visits", "aims", "replay", "compared_with",
    } <= data.keys()  # fmt: skip
    assert {"capacity_wh", "reserve_wh", "start_wh", "level_wh"} <= data["bank"].keys()
    assert {"name", "outlet", "plugged", "wall_wh", "charge_wh", "needs"} <= data["machines"][0].keys()
    assert {"at", "plug", "unplug", "bank_pct", "if_at_least", "if_below"} <= data["visits"][0].keys()
    assert {"violations", "largest_difference_wh"} <= data["replay"].keys()
    for suns in (data["sun_w"], data["bank"]["level_wh"], *(visit["bank_pct"] for visit in data["visits"])):
        assert set(suns) == {"dull", "likely", "bright"}


def test_series_have_n_entries_over_steps_and_one_more_over_edges(field):
    plan, data = field
    n_steps = plan.grid.n_steps
    over_steps = [data["starts"], data["shed_temp_c"], data["inverter_peak_w"], *data["sun_w"].values()]
    over_edges = [*data["bank"]["level_wh"].values()]
    for machine in data["machines"]:
        over_steps += [machine["outlet"], machine["plugged"], machine["wall_wh"]]
        over_edges.append(machine["charge_wh"])
    over_steps += [load["wall_wh"] for load in data["house_loads"]]
    assert {len(series) for series in over_steps} == {n_steps}
    assert {len(series) for series in over_edges} == {n_steps + 1}


def test_every_moment_carries_the_sites_offset(field):
    _, data = field
    assert data["starts"][0] == "2027-06-08T18:00:00-04:00"
    assert data["visits"][1]["at"] == "2027-06-09T07:00:00-04:00"
    assert data["machines"][0]["needs"][0]["ready_by"] == "2027-06-09T07:00:00-04:00"
    assert data["made_at"] == "2027-06-08T17:53:00-04:00"


def test_the_autumn_nights_doubled_hour_differs_by_its_offset():
    data = plan_to_json(sample.autumn_plan(), sample.ready_yard())
    moments = [dt.datetime.fromisoformat(start) for start in data["starts"]]
    assert {later - earlier for earlier, later in pairwise(moments)} == {dt.timedelta(minutes=30)}
    assert {"2027-11-07T01:30:00-04:00", "2027-11-07T01:30:00-05:00"} <= set(data["starts"])
    timer = data["visits"][0]["plug"][0]["timer"]
    assert timer == {"on": "2027-11-07T01:30:00-04:00", "off": "2027-11-07T01:30:00-05:00"}


def test_plugs_name_machine_outlet_and_timer(field):
    _, data = field
    plugs = {entry["machine"]: entry for entry in data["visits"][0]["plug"]}
    assert plugs["sprayer"] == {"machine": "sprayer", "outlet": "A", "timer": None}
    assert plugs["yard cart"]["timer"] == {
        "on": "2027-06-08T22:00:00-04:00",
        "off": "2027-06-09T03:00:00-04:00",
    }
    assert {"machine": "sprayer", "outlet": "A", "timer": None} in data["visits"][1]["unplug"]


def test_if_lines_carry_whole_percent(field):
    plan, data = field
    timed = replace(plan.visits[3], if_at_least=(IfAtLeast(64, "sprayer", "C", (60, 62)),))
    data = plan_to_json(replace(plan, visits=(*plan.visits[:3], timed)), sample.field_yard())
    assert data["visits"][2]["if_at_least"] == [
        {"bank_pct": 71, "machine": "two-wheel tractor", "outlet": "A", "timer": None}
    ]
    assert data["visits"][2]["if_below"] == [{"bank_pct": 38, "machine": "seed drill"}]
    assert data["visits"][3]["if_at_least"][0]["timer"] == {
        "on": "2027-06-10T00:00:00-04:00",
        "off": "2027-06-10T01:00:00-04:00",
    }


def test_reason_and_help_stand_only_at_needs_not_met(field):
    _, data = field
    met, unmet = data["machines"][0]["needs"]
    assert (met["ready"], met["because"], met["would_help"]) == (True, None, [])
    assert unmet["ready"] is False
    assert unmet["because"] == {"rule": "R4", "text": sample.BECAUSE.text}
    assert unmet["would_help"] == list(sample.WOULD_HELP)
    assert (unmet["need_wh"], unmet["priority"]) == (150.0, "should")


def test_a_reason_left_on_a_met_need_is_not_carried():
    plan = sample.ready_plan()
    sprayer, cart = plan.machines
    odd = replace(sprayer, needs=(replace(sprayer.needs[0], because=sample.BECAUSE, would_help=("x",)),))
    need = plan_to_json(replace(plan, machines=(odd, cart)), sample.ready_yard())["machines"][0]["needs"][0]
    assert (need["because"], need["would_help"]) == (None, [])


def test_rounding_moves_nothing_by_more_than_half_a_thousandth(field):
    plan, data = field
    for machine, told in zip(plan.machines, data["machines"], strict=True):
        np.testing.assert_allclose(told["charge_wh"], machine.charge_wh, atol=5.001e-4)
        np.testing.assert_allclose(told["wall_wh"], machine.wall_wh, atol=5.001e-4)
    for sun, level in data["bank"]["level_wh"].items():
        np.testing.assert_allclose(level, plan.bank.level_wh[sun], atol=5.001e-4)
        assert max(level) <= data["bank"]["capacity_wh"]
        assert level[0] == data["bank"]["start_wh"]


def test_minus_zero_is_written_as_zero():
    plan = sample.ready_plan()
    tiny = replace(plan, inverter_peak_w=np.full(plan.grid.n_steps, -1e-9))
    assert "-0.0" not in render_plan_json(tiny, sample.ready_yard())


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_figure_that_is_not_finite_is_refused(value):
    plan = sample.ready_plan()
    broken = replace(plan, inverter_peak_w=np.full(plan.grid.n_steps, value))
    with pytest.raises(ValueError, match="JSON cannot carry"):
        plan_to_json(broken, sample.ready_yard())


def test_aims_keep_their_status_and_an_unknown_gap_is_null():
    aims = (
        Aim("shortfall", 3.0, AimStatus.TIME_LIMIT, None, 60.0),
        Aim("plug changes", 9.0, AimStatus.GAP, 0.00012, 2.0),
    )
    told = plan_to_json(sample.ready_plan(aims=aims), sample.ready_yard())["aims"]
    assert told[0] == {
        "name": "shortfall",
        "value": 3.0,
        "status": "time limit",
        "gap": None,
        "seconds": 60.0,
    }
    assert (told[1]["status"], told[1]["gap"]) == ("gap", 0.00012)


def test_violations_are_carried_with_rule_time_and_amount():
    report = ReplayReport((Violation("R4", 3, 12.3456, "bank below reserve"),), 4.0)
    told = plan_to_json(sample.ready_plan(replay=report), sample.ready_yard())["replay"]
    assert told["violations"] == [
        {"rule": "R4", "at": "2027-06-08T19:30:00-04:00", "amount": 12.346, "text": "bank below reserve"}
    ]
    assert plan_to_json(sample.ready_plan(replay=None), sample.ready_yard())["replay"] is None


def test_rules_of_thumb_count_every_class(field):
    _, data = field
    first = data["compared_with"][0]
    assert first == {"name": "all in turn", "must": 1, "should": 2, "could": 0, "ac_off_h": 0.0}
    second = data["compared_with"][1]
    assert (second["name"], second["must"], second["should"], second["could"]) == ("earliest deadline first", 1, 1, 1)


def test_hostile_names_come_back_as_they_are():
    data = json.loads(render_plan_json(sample.crowded_plan(), sample.crowded_yard()))
    assert tuple(machine["name"] for machine in data["machines"]) == sample.HOSTILE_NAMES
