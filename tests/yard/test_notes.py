"""What is worth saying of a sound yard."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Array, Yard
from scheduler.yard.notes import yard_notes

FLEETS = Path(__file__).parents[2] / "fleets"
DEMO = read_yard(FLEETS / "field-edge.toml")


def changed(table: str, **values: Any) -> Yard:
    """The demo with one table changed, or the first of a list of tables."""
    old = getattr(DEMO, table)
    if isinstance(old, tuple):
        return DEMO.model_copy(update={table: (old[0].model_copy(update=values), *old[1:])})
    return DEMO.model_copy(update={table: old.model_copy(update=values)})


@pytest.mark.parametrize("name", ["field-edge", "starter"])
def test_nothing_is_odd_about_the_yards_that_come_with_the_program(name: str) -> None:
    assert yard_notes(read_yard(FLEETS / f"{name}.toml")) == ()


@pytest.mark.parametrize(
    ("longitude", "zone", "is_odd"),
    [
        (79.95, "America/New_York", True),
        (36.1, "America/New_York", True),
        (-79.95, "America/New_York", False),
        (75.0, "Asia/Shanghai", False),  # the far west of China, 3 hours from its clock
        (179.0, "Pacific/Auckland", False),
        (-179.5, "Pacific/Auckland", False),  # over the date line
        (-171.7, "Pacific/Apia", False),
        (-8.5, "Europe/Madrid", False),
        (-23.0, "Europe/Madrid", False),  # in summer only
        (171.7, "Pacific/Apia", False),  # its sun is the same an hour and a half apart
        (-10.0, "Pacific/Auckland", True),
    ],
)
def test_a_clock_far_from_the_sun_hints_at_a_wrong_longitude(
    longitude: float, zone: str, is_odd: bool
) -> None:
    notes = yard_notes(changed("site", longitude=longitude, timezone=zone))
    assert [note.startswith(f"the clock of {zone} is ") for note in notes] == [True] * is_odd


MONTHLY = (3.0,) * 12


def test_dirt_month_by_month_is_not_counted_in_the_losses_too() -> None:
    roof = DEMO.arrays[0]
    twice = changed("arrays", soiling_pct=MONTHLY)
    assert yard_notes(twice) == ("store roof: is dirt counted twice, in soiling_pct and as 'dirt' in losses_pct?",)
    assert yard_notes(changed("arrays", soiling_pct=MONTHLY, losses_pct={"wiring": 2.0})) == ()
    assert yard_notes(changed("arrays", soiling_pct=MONTHLY, losses_pct=12.33)) == ()
    plain = Array(name="roof", panels=1, panel_w=400.0, tilt_deg=20.0, azimuth_deg=180.0, soiling_pct=MONTHLY)
    assert "set it to 12.33" in " ".join(yard_notes(DEMO.model_copy(update={"arrays": (plain, roof)})))
    # 12.33 and the 2 % that it leaves out make the default again.
    assert plain.loss_fraction == pytest.approx(1.0 - (1.0 - 0.1233) * (1.0 - 0.02), abs=1e-4)


@pytest.mark.parametrize(
    ("latitude", "azimuth_deg", "tilt_deg", "is_odd"),
    [
        (36.1, 0, 25, True),
        (36.1, 350, 25, True),
        (36.1, 0, 5, False),
        (36.1, 262, 25, False),
        (36.1, 90, 25, False),
        (-36.1, 180, 25, True),
        (-36.1, 10, 25, False),
        (10.0, 0, 25, False),
    ],
)
def test_panels_that_look_to_the_pole_are_told(
    latitude: float, azimuth_deg: float, tilt_deg: float, is_odd: bool
) -> None:
    yard = changed("arrays", azimuth_deg=azimuth_deg, tilt_deg=tilt_deg)
    yard = yard.model_copy(
        update={"site": yard.site.model_copy(update={"latitude": latitude}), "arrays": yard.arrays[:1]}
    )
    assert [note.startswith("store roof: these panels look ") for note in yard_notes(yard)] == [True] * is_odd


def test_a_yard_without_visits_is_told() -> None:
    never = {"times": (), "sat": (), "sun": ()}
    assert yard_notes(changed("visits", **never)) == (
        "nobody ever comes by (no visits): no plug can be changed",
    )
    assert yard_notes(changed("visits", times=(), sat=(480,))) == ()


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"needs": ()}, "it has no needs"),
        ({"charge_temp_c": (32.0, 113.0)}, "are these degrees C?"),
        ({"charge_temp_c": (-25.0, 45.0)}, "are these degrees C?"),
        ({"battery_wh": 280.0}, "its charger fills it in 14 minutes"),
        ({"charger_w": 2937.0}, "draws 3001 W, more than the inverter's 3000 W"),
    ],
)
def test_what_is_odd_about_a_machine_is_told(values: dict[str, Any], words: str) -> None:
    (note,) = yard_notes(changed("machines", **values))
    assert note.startswith("two-wheel tractor: ")
    assert words in note


def test_a_machine_just_within_what_is_usual_is_not_told() -> None:
    assert yard_notes(changed("machines", charge_temp_c=(-20.0, 50.0), charger_w=2936.0)) == ()


@pytest.mark.parametrize(
    ("table", "values", "word"),
    [
        ("bank", {"modules_wh": (2.56, 2.56)}, "modules_wh"),
        ("arrays", {"panel_w": 0.41}, "panel_w"),
        ("machines", {"battery_wh": 2.4e6}, "battery"),
        ("machines", {"battery_wh": 0.2}, "battery"),
    ],
)
def test_a_figure_meant_in_another_unit_is_asked_about(table: str, values: dict[str, Any], word: str) -> None:
    assert any(word in note for note in yard_notes(changed(table, **values)))
