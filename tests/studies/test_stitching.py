"""A year in parts lived at the same time is the same year."""

from __future__ import annotations

from dataclasses import replace

import pytest

from scheduler.studies import stitching
from scheduler.studies.stitching import Part, lived_ahead, seams
from scheduler.studies.year import PreparedYear, YearWalk, live_prepared, prepare_year
from tests.studies.small_year import Here, days_from, greensboro, machine, plot


@pytest.fixture(autouse=True)
def _short_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stitching, "SHORTEST_PART_DAYS", 5)
    monkeypatch.setattr(stitching, "LEAD_DAYS", 3)


def some_days(panels: int) -> PreparedYear:
    yard = plot(machines=(machine("cart"), machine("mower")))
    array = yard.arrays[0].model_copy(update={"panels": panels})
    return prepare_year(yard.model_copy(update={"arrays": (array,)}), greensboro(), days_from(6, 7, 15))


def stitched(prepared: PreparedYear, n_parts: int) -> tuple[YearWalk, int]:
    """Live a year in parts, and count how often one was taken over."""
    walk, taken = YearWalk.begun(prepared), 0
    with lived_ahead(prepared, Here(), n_parts) as ahead:
        while not walk.is_done:
            if ahead.take_over(walk):
                taken += 1
            else:
                walk.go_on()
    return walk, taken


def test_parts_begin_before_their_turn_and_end_with_the_next() -> None:
    prepared = some_days(3)
    (begin, turn, end), (_, next_turn, last) = seams(prepared, 3)
    grid = prepared.agenda.whole.grid
    assert {grid.local(edge).hour for edge in (begin, turn, end, next_turn)} == {18}
    assert turn - begin == 3 * 24
    assert (end, last) == (next_turn, prepared.agenda.last)
    assert seams(prepared, 1) == []
    assert len(seams(prepared, 99)) == 2


def test_a_sunny_yard_takes_every_part_over_and_has_the_same_year() -> None:
    prepared = some_days(4)
    walk, taken = stitched(prepared, 3)
    assert taken == 2
    assert walk.lived() == live_prepared(prepared)


@pytest.mark.slow
def test_a_yard_that_is_never_full_lives_on_by_itself() -> None:
    prepared = some_days(1)
    walk, taken = stitched(prepared, 3)
    assert taken == 0
    assert walk.lived() == live_prepared(prepared)


def test_a_part_that_differs_in_the_last_digit_is_not_taken_over(monkeypatch: pytest.MonkeyPatch) -> None:
    true_part = stitching.live_part

    def slightly_off(prepared: PreparedYear, begin: int, end: int) -> Part:
        part = true_part(prepared, begin, end)
        return replace(
            part,
            evenings={
                edge: (replace(state, level_wh=state.level_wh * (1 - 1e-15)), tally)
                for edge, (state, tally) in part.evenings.items()
            },
        )

    monkeypatch.setattr(stitching, "live_part", slightly_off)
    assert stitched(some_days(4), 3)[1] == 0
