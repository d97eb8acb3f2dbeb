"""A yard's true figures come back from its readings, with intervals that hold them as often as they say."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from scheduler.errors import UsageError
from scheduler.logbook.learning import Figure, Learned, _Fit, learn
from scheduler.logbook.proposal import propose
from scheduler.logbook.sureness import unsure
from scheduler.yard.fleetfile import read_yard
from tests.benchmarks.learning import errors_of, learn_many, rates_of, render_errors
from tests.logbook.fortnights import live_weeks
from tests.logbook.injected import Words

ROOT = Path(__file__).parents[2]


def test_chargers_are_found_within_5_percent_and_a_yard_that_is_known_so_well_asks_for_nothing() -> None:
    weeks = live_weeks(305, days=28)
    learned = learn(weeks.expected, weeks.readings, {})
    chargers = errors_of(weeks, learned).errors["charger"]
    assert chargers
    assert all(abs(error) < 0.05 for error, _ in chargers), chargers
    assert learned.unsure is None
    assert not learned.is_starved


@pytest.mark.deep
def test_figures_come_back_within_5_percent_after_eight_weeks_and_intervals_hold_them() -> None:
    table = learn_many(range(100, 140), 56)
    told = render_errors(table)
    assert all(rms <= 0.05 for rms, _ in rates_of(table).values()), told
    assert all(0.90 <= held <= 0.99 for _, held in rates_of(table).values()), told


def test_what_is_not_sure_asks_for_the_readings_that_bring_most() -> None:
    rows = np.diag([100.0, 10.0, 5.0])
    kinds = {f"more of {number}": np.arange(3) == number for number in range(3)}
    lacking = unsure(rows, 2, kinds, days=30.0)
    assert lacking is not None
    assert lacking.deviation_fraction == pytest.approx(0.1)
    assert lacking.more_days == pytest.approx(90.0), "half as far off takes four times the days"
    assert lacking.ask_for[0] == "more of 1"
    assert unsure(rows, 1, kinds, days=30.0) is None


def test_of_a_bank_that_was_mostly_empty_only_chargers_are_proposed() -> None:
    weeks = live_weeks(301, days=28)
    assert learn(weeks.expected, weeks.readings, {}).is_starved
    path = ROOT / "fleets" / "field-edge.toml"
    bank, charger = (Figure("bank", "", 10240.0, 8192.0, 7800.0, 8600.0), Figure("charger", "pruner 2", 90, 70, 65, 75))
    starved = replace(learned_as(bank, charger), is_starved=True)
    diff = propose(read_yard(path), starved, path.read_text(encoding="utf-8"), path.name)
    assert "charger_w" in diff
    assert "modules_wh" not in diff


@pytest.mark.slow
def test_what_was_seen_of_the_sky_says_where_the_days_lay() -> None:
    weeks = live_weeks(305, days=28, words=Words.SINCE_VISIT)
    fit = _Fit(weeks.expected, weeks.readings, weeks.readings, {})
    assert (fit.place_deviation < 1.0).mean() > 0.9


def test_less_than_a_fortnight_is_not_learned_from() -> None:
    weeks = live_weeks(2, days=28)
    with pytest.raises(UsageError, match="14 or more"):
        learn(weeks.expected, weeks.readings[:30], {})


def learned_as(*figures: Figure) -> Learned:
    return Learned(figures, 28.0, 84)


def changes_of(*figures: Figure) -> list[str]:
    """The lines that a proposal for the demo yard takes out and puts in."""
    path = ROOT / "fleets" / "field-edge.toml"
    diff = propose(read_yard(path), learned_as(*figures), path.read_text(encoding="utf-8"), path.name)
    lines = diff.splitlines()[2:]
    return [line for line in lines if line.startswith(("+", "-"))]


def test_a_smaller_bank_is_proposed_as_its_line() -> None:
    assert changes_of(Figure("bank", "", 10240.0, 8192.0, 7800.0, 8600.0)) == [
        "-modules_wh = [5120, 5120]",
        "+modules_wh = [4100, 4100]",
    ]


def test_a_charger_is_changed_at_its_own_machine() -> None:
    assert changes_of(Figure("charger", "orchard mower", 480.0, 400.0, 380.0, 420.0)) == [
        "-charger_w = 480",
        "+charger_w = 400",
    ]
    assert changes_of(Figure("charger", "pruner 2", 90.0, 70.0, 65.0, 75.0)) == ["-charger_w = 90", "+charger_w = 70"]


def test_a_weak_array_becomes_losses_of_every_array() -> None:
    changed = changes_of(Figure("array", "", 4050.0, 3240.0, 3100.0, 3400.0))
    losses = [float(line.partition("=")[2]) for line in changed if line.startswith("+losses_pct")]
    arrays = read_yard(ROOT / "fleets" / "field-edge.toml").arrays
    assert losses == [pytest.approx(100.0 * (1.0 - 0.8 * (1.0 - one.loss_fraction)), abs=0.06) for one in arrays]


def test_what_else_runs_becomes_a_load_of_its_own() -> None:
    changed = changes_of(Figure("base load", "", 64.0, 104.0, 90.0, 120.0))
    assert "+watts = 40" in changed
    assert not [line for line in changed if line.startswith("-")]


def test_a_figure_within_its_interval_changes_nothing() -> None:
    assert changes_of(Figure("bank", "", 10240.0, 9000.0, 7000.0, 11000.0)) == []
    assert changes_of(Figure("bank", "", 10240.0, 10000.0, 9900.0, 10100.0)) == [], "off by less than 5 %"
