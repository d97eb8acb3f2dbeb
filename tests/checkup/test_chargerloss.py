"""What chargers lose in a year of their needs, against the limit for a battery of that energy."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.checkup.batteryrates import group_alike
from scheduler.checkup.chargerloss import (
    charger_class,
    loss_figures,
    loss_findings,
    yearly_loss_kwh,
)
from scheduler.checkup.findings import Figure, Finding, Grade
from scheduler.yard.models import Machine

#: 800 Wh a day into the battery, 1000 Wh from the wall: 200 Wh x 365 = 73 kWh lost in a year.
CART: dict[str, Any] = {
    "name": "cart",
    "battery_wh": 1000.0,
    "charger_w": 200.0,
    "charger_efficiency_pct": 80.0,
    "charge_pct": 50.0,
    "needs": [{"ready_by": "07:00", "energy_wh": 800.0}],
}


def machine(**changed: Any) -> Machine:
    return Machine.model_validate(CART | changed)


def of_volts(battery_v: float, battery_ah: float) -> dict[str, Any]:
    return {"battery_wh": None, "battery_v": battery_v, "battery_ah": battery_ah}


def told(*machines: Machine) -> tuple[list[Figure], list[Finding]]:
    groups = group_alike(machines)
    return list(loss_figures(groups)), list(loss_findings(groups))


def test_a_year_of_needs_loses_what_the_wall_gives_over_what_the_battery_takes():
    assert yearly_loss_kwh(machine()) == pytest.approx(73.0)
    twice_a_week = [{"ready_by": "07:00", "weekdays": ("mon", "fri"), "energy_wh": 800.0}]
    assert yearly_loss_kwh(machine(needs=twice_a_week)) == pytest.approx(73.0 * 2 / 7)
    assert yearly_loss_kwh(machine(charger_efficiency_pct=100.0)) == 0.0


@given(st.floats(10.0, 99.0), st.floats(0.1, 0.9))
def test_a_better_charger_never_loses_more(efficiency_pct, way):
    better_pct = efficiency_pct + way * (100.0 - efficiency_pct)
    worse, better = (
        yearly_loss_kwh(machine(charger_efficiency_pct=pct)) for pct in (efficiency_pct, better_pct)
    )
    assert better <= worse


@pytest.mark.parametrize(
    ("changed", "of_class"),
    [
        ({"battery_wh": 99.9, "needs": []}, None),
        ({"battery_wh": 100.0, "needs": []}, 6),
        ({"battery_wh": 3000.0}, 6),
        ({"battery_wh": 3000.1}, None),
        (of_volts(19.9, 60.0), 5),
        (of_volts(20.0, 60.0), 6),
    ],
)
def test_the_class_is_by_energy_and_by_volts_where_they_are_known(changed, of_class):
    assert charger_class(machine(**changed)) == of_class


def test_the_worst_charger_is_the_figure_and_within_its_limit_no_note():
    # 73 of 0.0778 x 1000 + 2.4 = 80.2 kWh, and 73 of 0.0778 x 3000 + 2.4 = 235.8.
    (figure,), findings = told(machine(name="large", battery_wh=3000.0), machine())
    assert (figure.about, figure.value, figure.limit) == ("cart", pytest.approx(73.0), pytest.approx(80.2))
    assert "class 6, taken for 20 V or more (battery_v); below that class 5, 27 kWh" in figure.source
    assert "from memory" in figure.source
    assert findings == []


@pytest.mark.parametrize(("battery_wh", "notes"), [(908.0, 0), (907.0, 1)])
def test_just_within_the_limit_is_nothing_and_just_beyond_it_a_note(battery_wh, notes):
    """73 kWh are the limit of 907.5 Wh."""
    _, findings = told(machine(battery_wh=battery_wh))
    assert len(findings) == notes


def test_over_the_limit_is_a_note_that_does_not_judge_the_charger():
    _, (finding,) = told(machine(battery_wh=800.0))
    assert finding.grade is Grade.NOTE
    assert (finding.found, finding.limit, finding.unit) == (pytest.approx(73.0), pytest.approx(64.64), "kWh")
    assert finding.title == (
        "The charger of cart loses 73 kWh in a year of its needs; one for 800 Wh may use 65 kWh in its test"
    )
    assert "which fill it 365 times a year: it may well be a charger as the law wants it" in finding.meaning
    assert finding.caution == ""


def test_known_volts_decide_and_no_other_class_is_told():
    (figure,), (finding,) = told(machine(**of_volts(12.0, 100.0)))
    assert figure.limit == finding.limit == pytest.approx(31.655)  # 0.0257 x 1200 + 0.815
    assert finding.source == "10 CFR 430.32(z), class 5; coefficients from memory"


@pytest.mark.parametrize(
    "silent", [{"battery_wh": 3001.0}, {"needs": []}, {"needs": [{"ready_by": "07:00", "charge_pct": 80.0}]}]
)
def test_without_a_class_or_without_known_work_there_is_no_figure(silent):
    assert told(machine(**silent)) == ([], [])
