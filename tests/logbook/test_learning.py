"""A yard's true figures come back from its readings, with intervals that hold them as often as they say."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from scheduler.errors import UsageError
from scheduler.logbook.learning import Figure, Learned, learn
from scheduler.logbook.proposal import propose
from scheduler.yard.fleetfile import read_yard
from tests.logbook.fortnights import Weeks, live_weeks

ROOT = Path(__file__).parents[2]


def errors_of(weeks: Weeks, learned: Learned) -> dict[str, tuple[float, bool]]:
    """By what fraction each figure is missed, and whether its interval holds the truth."""
    true = {
        "array": weeks.truth.array,
        "base load": weeks.truth.base_load,
        "bank": weeks.truth.bank,
        "charger": weeks.truth.charger,
    }
    return {
        f"{one.kind} {one.name}".strip(): (
            one.factor_fraction / true[one.kind] - 1.0,
            one.low_w <= true[one.kind] * one.file_value_w <= one.high_w,
        )
        for one in learned.figures
    }


def test_chargers_are_found_within_5_percent() -> None:
    weeks = live_weeks(1, days=28)
    errors = errors_of(weeks, learn(weeks.expected, weeks.readings, {}))
    chargers = {name: error for name, (error, _) in errors.items() if name.startswith("charger")}
    assert chargers
    assert all(abs(error) < 0.05 for error in chargers.values()), chargers


@pytest.mark.deep
def test_figures_come_back_and_intervals_hold_them() -> None:
    found: dict[str, list[tuple[float, bool]]] = {}
    for seed in range(100, 140):
        weeks = live_weeks(seed, days=56)
        for name, error in errors_of(weeks, learn(weeks.expected, weeks.readings, {})).items():
            found.setdefault(name.split()[0], []).append(error)
    typical = {kind: float(np.median([abs(error) for error, _ in errors])) for kind, errors in found.items()}
    held = [inside for errors in found.values() for _, inside in errors]
    assert all(typical[kind] <= 0.05 for kind in ("array", "bank", "charger")), typical
    assert typical["base"] <= 0.08, typical
    assert 0.90 <= np.mean(held) <= 0.99, np.mean(held)


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
