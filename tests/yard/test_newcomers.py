"""Machines thought of for a yard are read as though they stood in its fleet file, and told in their own lines."""

from __future__ import annotations

from pathlib import Path

import pytest

from scheduler.errors import FleetFileError
from scheduler.yard.fleetfile import read_newcomers, read_yard

FLEETS = Path(__file__).parents[2] / "fleets"
FLEET = FLEETS / "field-edge.toml"

SOUND = """
[[machines]]
name = "wheel hoe"
battery_wh = 500
charger_w = 90
charge_pct = 50
"""


def problems_of(tmp_path: Path, text: str) -> tuple[str, ...]:
    file = tmp_path / "new.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(FleetFileError) as refused:
        read_newcomers(file, FLEET)
    assert refused.value.path == file
    return refused.value.problems


def test_a_newcomer_has_the_fleet_files_keys_and_defaults(tmp_path: Path) -> None:
    file = tmp_path / "new.toml"
    file.write_text(SOUND + "count = 2\n", encoding="utf-8")
    first, second = read_newcomers(file, FLEET)
    assert (first.name, second.name) == ("wheel hoe 1", "wheel hoe 2")
    assert first.charger_efficiency_pct == 88.0


@pytest.mark.parametrize("name", ["new-hoe.toml", "new-cooler.toml", "new-loader.toml"])
def test_the_demos_newcomers_are_sound(name: str) -> None:
    (machine,) = read_newcomers(FLEETS / name, FLEET)
    assert machine.needs
    assert machine.name not in {other.name for other in read_yard(FLEET).machines}


def test_a_mistake_is_told_by_its_line_in_the_newcomers_file(tmp_path: Path) -> None:
    (problem,) = problems_of(tmp_path, SOUND.replace("battery_wh", "batery_wh"))
    assert (
        problem
        == 'line 4: machine "wheel hoe": batery_wh: unknown key, found 500; did you mean "battery_wh"?'
    )


def test_a_name_that_the_yard_has_is_told(tmp_path: Path) -> None:
    (problem,) = problems_of(tmp_path, SOUND.replace("wheel hoe", "sprayer"))
    assert problem.startswith('line 3: machine "sprayer": name: a second machine "sprayer"')


def test_a_charger_that_fits_no_outlet_of_the_yard_is_told(tmp_path: Path) -> None:
    (problem,) = problems_of(tmp_path, SOUND.replace("charger_w = 90", "charger_w = 9000"))
    assert problem.startswith(
        'line 5: machine "wheel hoe": charger_w: 9000 W is more than any ac outlet gives'
    )


def test_other_tables_than_machines_are_told(tmp_path: Path) -> None:
    (problem,) = problems_of(tmp_path, f"[bank]\nreserve_pct = 10\n{SOUND}")
    assert problem == "line 1: bank: wanted [[machines]] alone in this file"


@pytest.mark.parametrize("text", ["machines = 3", "[machines]\nname = 'x'", "machines = []"])
def test_a_file_without_machines_is_told_what_it_lacks(tmp_path: Path, text: str) -> None:
    (problem,) = problems_of(tmp_path, text)
    assert "wanted at least one [[machines]]" in problem
