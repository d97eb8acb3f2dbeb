"""Whole yards drawn by Hypothesis, each held to everything that must hold of any yard (`tests/yard_properties.py`)."""

from __future__ import annotations

import pytest

from tests.yard_properties import Tally, try_yards

#: So many yards a test: fewer would mostly be the simplest ones, with which Hypothesis begins.
YARDS = 100


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
