"""Whole yards drawn by Hypothesis, each held to everything that must hold of any yard (`tests/yard_properties.py`)."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Yard
from tests.strategies import fleet_text
from tests.whole_yards import beginnings, fleets
from tests.yard_properties import Tally, try_yards

#: So many yards a test: fewer would mostly be the simplest ones, with which Hypothesis begins.
YARDS = 100


@st.composite
def drawn_fleets(draw: st.DrawFn) -> Yard:
    zone, begin = draw(beginnings())
    return draw(fleets(zone, begin, draw(st.sampled_from((60, 30, 15))), most_machines=15))


@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(yard=drawn_fleets())
def test_every_drawn_yard_is_one_that_a_fleet_file_may_hold(
    yard: Yard, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path: Path = tmp_path_factory.getbasetemp() / "drawn.toml"
    path.write_text(fleet_text(yard), encoding="utf-8")
    assert read_yard(path) == yard


@pytest.mark.slow
def test_every_yard_of_a_hundred_keeps_what_every_yard_must() -> None:
    tally = Tally()
    try_yards(0, YARDS, tally, most_machines=8, most_machine_steps=120)
    assert tally.yards >= YARDS


@pytest.mark.deep
@pytest.mark.parametrize("number", range(1, 21))
def test_every_yard_of_two_thousand_keeps_what_every_yard_must(number: int) -> None:
    tally = Tally()
    try_yards(number, YARDS, tally)
    assert tally.yards >= YARDS
