"""A year's state file: goes on to the last digit, and only with its own year."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from scheduler.errors import InputError
from scheduler.studies.year import YearWalk, prepare_year
from scheduler.studies.yearstate import read_state, render_state
from scheduler.studies.yearsums import YearSums
from tests.studies.made_years import two_weeks
from tests.studies.small_year import a_week_in_may, days_from, greensboro, machine, plot


def test_what_was_kept_is_read_back_to_the_last_digit(tmp_path: Path) -> None:
    walk = YearWalk.begun(a_week_in_may())
    for _ in range(4):
        walk.go_on()
    mark = walk.bookmark()
    mark.state.timer[0] = (100, 103)
    sums = (YearSums.of(two_weeks(), 1), YearSums.of(two_weeks(), 2))
    path = tmp_path / "state"
    path.write_bytes(render_state(a_week_in_may(), mark, sums))
    assert read_state(path, a_week_in_may()) == (mark, sums)


def test_a_year_killed_and_taken_up_from_its_file_is_the_same(tmp_path: Path) -> None:
    whole = YearWalk.begun(a_week_in_may())
    path = tmp_path / "state"
    while not whole.is_done:
        if whole.done_fraction < 0.5:
            path.write_bytes(render_state(a_week_in_may(), whole.bookmark(), ()))
        whole.go_on()
    begun, _ = read_state(path, a_week_in_may())
    assert begun is not None
    assert 0 < begun.edge < a_week_in_may().agenda.last
    later = YearWalk.begun(a_week_in_may(), at=begun)
    while not later.is_done:
        later.go_on()
    assert later.lived() == whole.lived()


@pytest.mark.parametrize("other", ["machine", "seed", "days", "panels"])
def test_the_state_of_another_year_is_refused(tmp_path: Path, other: str) -> None:
    path = tmp_path / "state"
    path.write_bytes(render_state(a_week_in_may(), None, ()))
    yard, settings = plot(), days_from(5, 3, 7)
    if other == "machine":
        yard = plot(machines=(machine("cart"),))
    elif other == "panels":
        yard = plot(arrays=(yard.arrays[0].model_copy(update={"panels": 3}),))
    else:
        settings = replace(settings, **({"seed": 1} if other == "seed" else {"n_days": 8}))
    with pytest.raises(InputError, match="another year"):
        read_state(path, prepare_year(yard, greensboro(), settings))


@pytest.mark.parametrize("content", [b"", b"{}", b"[1]", b"site = 1"])
def test_a_file_that_is_no_state_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "state"
    path.write_bytes(content)
    with pytest.raises(InputError, match="no state file"):
        read_state(path, a_week_in_may())
