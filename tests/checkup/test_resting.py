"""What batteries lose by themselves: months until they are looked at, and who is told of it."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.checkup.batteryrates import group_alike
from scheduler.checkup.findings import Figure
from scheduler.checkup.resting import (
    PARKED,
    held_after,
    lead_acid_findings,
    months_to_look,
    resting_figures,
)
from scheduler.yard.models import Machine

CART: dict[str, Any] = {"name": "cart", "battery_wh": 500.0, "charger_w": 100.0, "charge_pct": 50.0}
LEAD_ACID: dict[str, Any] = {"charge_temp_c": (-20.0, 50.0)}
WEEKLY: dict[str, Any] = {"needs": [{"ready_by": "07:00", "weekdays": ("mon",), "energy_wh": 100.0}]}
DATED: dict[str, Any] = {"needs": [{"ready_by": "2027-06-09 07:00", "energy_wh": 100.0}]}

chemistries = st.sampled_from(sorted(PARKED))


def figures_of(*machines: dict[str, Any]) -> list[Figure]:
    groups = group_alike([Machine.model_validate(CART | machine) for machine in machines])
    return list(resting_figures(groups))


@pytest.mark.parametrize(
    ("chemistry", "months", "held"),
    [
        ("lithium", 0.0, (0.40, 0.40)),
        ("lithium", 4.0, (0.28, 0.32)),
        ("lead_acid", 4.0, (0.76, 0.84)),
        ("lithium", 15.0, (0.0, 0.10)),
    ],
)
def test_what_is_held_after_a_rest(chemistry, months, held):
    assert held_after(months, chemistry) == pytest.approx(held)


@given(chemistries, st.floats(0.0, 30.0), st.floats(0.0, 30.0))
def test_a_longer_rest_never_leaves_more_and_nothing_is_held_below_empty(chemistry, months, more):
    early, late = held_after(months, chemistry), held_after(months + more, chemistry)
    assert 0.0 <= late[0] <= late[1] <= early[1] <= PARKED[chemistry][0]
    assert late[0] <= early[0]


@given(chemistries)
def test_it_is_looked_at_while_it_still_holds_enough_and_not_a_month_too_early(chemistry):
    least, months = PARKED[chemistry][1], months_to_look(chemistry)
    assert held_after(months, chemistry)[0] >= least - 1e-9
    assert held_after(months + 1, chemistry)[0] < least


def test_only_what_no_week_needs_has_a_figure():
    assert figures_of(WEEKLY) == []
    (figure,) = figures_of({}, WEEKLY | {"name": "trike"}, DATED | {"name": "old cart"})
    assert (figure.about, figure.value, figure.limit) == (
        "cart and old cart",
        pytest.approx(28.0),
        pytest.approx(20.0),
    )
    assert figure.at_least
    assert figure.name == "left after 4 months if parked at 40 %"


def test_each_chemistry_has_its_own_figure():
    lithium, lead_acid = figures_of({}, LEAD_ACID | {"name": "loader"})
    assert (lithium.about, lead_acid.about) == ("cart", "loader")
    assert (lead_acid.value, lead_acid.limit) == (pytest.approx(76.0), pytest.approx(80.0))
    assert lead_acid.name == "left after 4 months if parked full"


@pytest.mark.parametrize("machine", [{}, LEAD_ACID | WEEKLY])
def test_lithium_and_lead_acid_that_a_week_needs_have_no_note_of_their_own(machine):
    assert not list(lead_acid_findings(group_alike([Machine.model_validate(CART | machine)])))
