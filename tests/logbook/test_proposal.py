"""What was learned becomes changed lines that make a sound fleet file of the old one, whatever it looks like."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from scheduler.logbook.learned import Figure, Learned
from scheduler.logbook.proposal import Proposal, propose
from scheduler.sheet.learnedscreen import render_changes
from scheduler.yard.fleetedit import FleetText
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Yard
from tests.yard.patching import patched

DEMO = Path(__file__).parents[2] / "fleets" / "field-edge.toml"

#: Parts of a fleet file, each in one of several ways to write it.
SITE = '[site]\nname = "shed"\nlatitude = 36\nlongitude = -80\ntimezone = "America/New_York"\n'
ARRAY = (
    '[[arrays]]\nname = "roof"\npanels = 6\npanel_w = 400\ntilt_deg = 20\nazimuth_deg = 180\n'
    'mounting = "close_roof"\n'
)
BANK = "[bank]\nmodules_wh = [4800, 4800]\nreserve_pct = 20\nlevel_pct = 60\n"
REST = (
    '[inverter]\ncontinuous_w = 2400\n[[outlets]]\nname = "bench"\nkind = "ac"\nbreaker_a = 15\nvolts = 120\n'
    '[visits]\ntimes = ["07:00"]\n'
)
LOAD = '[[house_loads]]\nname = "fridge"\nwatts = 60\nalways_on = true\n'
MACHINE = '[[machines]]\nname = "mower"\nbattery_wh = 2000\ncharger_w = 400\ncharge_pct = 50\n'
TWO = MACHINE.replace('"mower"', '"mower"\ncount = 2')

WEAK = Figure("array", "", 2400.0, 1920.0, 1800.0, 2000.0)
SMALL = Figure("bank", "", 9600.0, 5760.0, 5000.0, 6500.0)
MORE = Figure("base load", "", 60.0, 104.0, 90.0, 120.0)
LACKING = Figure("base load", "", 0.0, 61.0, 50.0, 72.0)
SLOW = Figure("charger", "mower", 400.0, 300.0, 280.0, 320.0)

OTHER_ARRAYS = {
    "no losses": ARRAY,
    "losses": ARRAY + "losses_pct = 14.08 # all\n",
    "a list": re.sub(r"\[\[arrays\]\]\n", "", "arrays = [{ " + ", ".join(ARRAY.splitlines()[1:]) + " }]\n"),
    "named losses": ARRAY + "losses_pct = { dirt = 3, # leaves\n  rest = 11.42 }\n",
    "shade": ARRAY + '[[arrays.shade]]\nbetween = ["17:00", "20:00"]\nlost_pct = 60\n',
}
OTHER_BANKS = {
    "lines": BANK.replace("[4800, 4800]", "[ # two, [so]\n  4800, # left = \"old\"\n  4_800.0, # right\n]"),
    "a line": "bank = { modules_wh = [4800, 4800], reserve_pct = 20, level_pct = 60 }\n",
    "quoted": BANK.replace("modules_wh", '"modules_wh"'),
}
OTHER_MACHINES = {
    "one": MACHINE,
    "a list": 'machines = [\n  { name = "mower", battery_wh = 2000, charger_w = 400, charge_pct = 50 }, # old\n]\n',
    "odd name": MACHINE.replace('"mower"', "'''mower''' # charger_w = 5"),
    "inline need": MACHINE + 'needs = [{ ready_by = "07:00", charge_pct = 90 }]\n',
}


def learned_as(*figures: Figure, is_starved: bool = False) -> Learned:
    return Learned(figures, 28.0, 84, is_starved=is_starved)


def fleet_of(folder: Path, *parts: str) -> Path:
    """A fleet file whose parts that are no tables under a heading come first, as TOML wants it."""
    path = folder / "my yard.toml"
    path.write_bytes("".join(sorted(parts, key=lambda part: part.startswith("["))).encode())
    return path


def proposed(path: Path, *figures: Figure) -> Proposal:
    return propose(read_yard(path), learned_as(*figures), path)


def yard_after(path: Path, *figures: Figure) -> Yard:
    """The yard of the file to which the diff was applied, as it comes from the screen."""
    found = proposed(path, *figures)
    assert not found.by_hand
    shown = render_changes(found)
    begin = shown.index("--- ")
    after = patched(path.parent, path.read_bytes().decode(), shown[begin:] + "\n", path.name)
    path.write_bytes(after.encode())
    return read_yard(path)


def full_sun_w(yard: Yard) -> float:
    return sum(array.rated_w * (1.0 - array.loss_fraction) for array in yard.arrays)


def agrees(after: Yard, before: Yard, *figures: Figure) -> None:
    """Each figure is in the new file, and nothing else is another."""
    by_kind = {figure.kind: figure.factor_fraction for figure in figures}
    assert full_sun_w(after) == pytest.approx(full_sun_w(before) * by_kind.get("array", 1.0), rel=0.01)
    assert after.bank.capacity_wh == pytest.approx(before.bank.capacity_wh * by_kind.get("bank", 1.0), rel=0.01)
    load = [figure.value for figure in figures if figure.kind == "base load"]
    assert after.always_on_w == pytest.approx(load[0] if load else before.always_on_w, rel=0.01)
    for new, old in zip(after.machines, before.machines, strict=True):
        assert new.charger_w == pytest.approx(old.charger_w * by_kind.get("charger", 1.0), rel=0.01)
        assert new.model_copy(update={"charger_w": 1.0}) == old.model_copy(update={"charger_w": 1.0})
    assert (after.site, after.inverter, after.outlets) == (before.site, before.inverter, before.outlets)


@pytest.mark.parametrize(
    ("arrays", "bank", "machines"),
    [
        *((arrays, BANK, MACHINE) for arrays in OTHER_ARRAYS.values()),
        *((ARRAY, bank, MACHINE) for bank in OTHER_BANKS.values()),
        *((ARRAY, BANK, machines) for machines in OTHER_MACHINES.values()),
        (OTHER_ARRAYS["a list"], OTHER_BANKS["a line"], OTHER_MACHINES["a list"]),
    ],
    ids=[*OTHER_ARRAYS, *OTHER_BANKS, *OTHER_MACHINES, "all in lines"],
)
def test_the_diff_makes_a_sound_file_with_the_figures_of_any_layout(
    tmp_path: Path, arrays: str, bank: str, machines: str
) -> None:
    path = fleet_of(tmp_path, SITE, arrays, bank, REST, LOAD, machines)
    before = read_yard(path)
    agrees(yard_after(path, WEAK, SMALL, MORE, SLOW), before, WEAK, SMALL, MORE, SLOW)


@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("last", ["", "\n"])
def test_the_ends_of_lines_and_of_the_file_are_kept(tmp_path: Path, mark: str, end: str, last: str) -> None:
    path = fleet_of(tmp_path, BANK, SITE, ARRAY, REST, LOAD, MACHINE)
    text = path.read_text(encoding="utf-8").rstrip() + last
    path.write_bytes((mark + text.replace("\n", end)).encode())
    before = read_yard(path)
    agrees(yard_after(path, SMALL, MORE, SLOW), before, SMALL, MORE, SLOW)
    after = path.read_bytes().decode()
    assert after.startswith(mark)
    assert ("\r" in after) == (end == "\r\n")
    assert after.count("\r\n") in (0, after.count("\n"))


def test_the_demo_is_changed_in_the_lines_of_its_figures_alone() -> None:
    yard = read_yard(DEMO)

    def changes_of(*figures: Figure) -> list[str]:
        lines = propose(yard, learned_as(*figures), DEMO).diff.splitlines()[2:]
        return [line for line in lines if line.startswith(("+", "-"))]

    assert changes_of(Figure("bank", "", 10240.0, 8192.0, 7800.0, 8600.0)) == [
        "-modules_wh = [5120, 5120]",
        "+modules_wh = [4100, 4100]",
    ]
    assert changes_of(Figure("charger", "orchard mower", 480.0, 400.0, 380.0, 420.0)) == [
        "-charger_w = 480",
        "+charger_w = 400",
    ]
    weak = changes_of(Figure("array", "", 4050.0, 3240.0, 3100.0, 3400.0))
    losses = [float(line.partition("=")[2]) for line in weak if line.startswith("+losses_pct")]
    assert losses == [pytest.approx(100.0 * (1.0 - 0.8 * (1.0 - one.loss_fraction)), abs=0.06) for one in yard.arrays]
    more = changes_of(Figure("base load", "", 64.0, 104.0, 90.0, 120.0))
    assert "+watts = 40" in more
    assert not [line for line in more if line.startswith("-")]
    assert changes_of(Figure("bank", "", 10240.0, 9000.0, 7000.0, 11000.0)) == [], "within its interval"
    assert changes_of(Figure("bank", "", 10240.0, 10000.0, 9900.0, 10100.0)) == [], "off by less than 5 %"


def test_of_a_bank_that_was_mostly_empty_only_chargers_are_proposed(tmp_path: Path) -> None:
    path = fleet_of(tmp_path, SITE, ARRAY, BANK, REST, LOAD, MACHINE)
    diff = propose(read_yard(path), learned_as(SMALL, WEAK, MORE, SLOW, is_starved=True), path).diff
    assert [line for line in diff.splitlines()[2:] if line[0] in "+-"] == ["-charger_w = 400", "+charger_w = 300"]


def test_a_load_that_no_line_tells_of_becomes_one_and_grows_with_the_next_weeks(tmp_path: Path) -> None:
    path = fleet_of(tmp_path, SITE, ARRAY, BANK, REST, MACHINE)
    (load,) = yard_after(path, LACKING).house_loads
    assert (load.name, load.watts, load.always_on) == ("what else runs", 61.0, True)
    (load,) = yard_after(path, Figure("base load", "", 61.0, 80.0, 75.0, 85.0)).house_loads
    assert load.watts == 80.0


def test_a_list_of_loads_gets_one_more(tmp_path: Path) -> None:
    listed = 'house_loads = [ # all\n  { name = "fridge", watts = 60, always_on = true }\n]\n'
    path = fleet_of(tmp_path, SITE, ARRAY, BANK, REST, listed, MACHINE)
    assert sorted(load.watts for load in yard_after(path, MORE).house_loads) == [44.0, 60.0]


def test_less_than_the_file_has_is_less_of_each_load(tmp_path: Path) -> None:
    path = fleet_of(tmp_path, SITE, ARRAY, BANK, REST, LOAD, LOAD.replace("fridge", "router"), MACHINE)
    after = yard_after(path, Figure("base load", "", 120.0, 60.0, 50.0, 70.0))
    assert [load.watts for load in after.house_loads] == [30.0, 30.0]


def test_chargers_of_one_table_are_changed_once_to_what_both_say(tmp_path: Path) -> None:
    path = fleet_of(tmp_path, SITE, ARRAY, BANK, REST, TWO)
    two = (
        Figure("charger", "mower 1", 400.0, 300.0, 280.0, 321.4),
        Figure("charger", "mower 2", 400.0, 306.0, 285.6, 327.9),
    )
    after = yard_after(path, *two)
    assert [machine.charger_w for machine in after.machines] == [303.0, 303.0], "the mean of figures as sure"


def test_chargers_of_one_table_that_differ_are_left_to_the_hand(tmp_path: Path) -> None:
    path = fleet_of(tmp_path, SITE, ARRAY, BANK, REST, TWO)
    two = (
        Figure("charger", "mower 1", 400.0, 300.0, 280.0, 320.0),
        Figure("charger", "mower 2", 400.0, 410.0, 390.0, 430.0),
    )
    found = proposed(path, *two)
    assert found.diff == ""
    assert found.by_hand == (
        '[[machines]]: a table each instead of one with count, for their chargers differ: "mower 1" charger_w = 300; '
        '"mower 2" charger_w = 410',
    )
    assert found.by_hand[0] in render_changes(found)


def test_a_sound_file_that_has_another_figure_is_not_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = fleet_of(tmp_path, SITE, ARRAY, BANK, REST, LOAD, MACHINE)
    monkeypatch.setattr(FleetText, "set_value", lambda file, *_: file.set_items(("bank", "modules_wh"), ["9", "9"]))
    assert proposed(path, SLOW) == Proposal("", ('[[machines]] "mower": charger_w = 300',))


@pytest.mark.parametrize(
    ("parts", "figure", "told"),
    [
        ((ARRAY + "losses_pct.dirt = 5\n", BANK, LOAD), WEAK, '[[arrays]] "roof": losses_pct = 24.0'),
        ((ARRAY + "[arrays.losses_pct]\ndirt = 5\n", BANK, LOAD), WEAK, '[[arrays]] "roof": losses_pct = 24.0'),
        ((ARRAY, BANK, LOAD), Figure("base load", "", 60, 0, 0, 9), '"fridge": take it out, it does not run'),
        ((ARRAY, BANK, LOAD), Figure("base load", "", 60, 9000, 8000, 9999), 'name = "what else runs", watts = 8940'),
        ((ARRAY, BANK, LOAD), Figure("array", "", 2400, 3000, 2900, 3100), "bring 1.25 times what the file"),
    ],
    ids=["dotted", "headed", "nothing runs", "more than the inverter gives", "more than the label"],
)
def test_what_no_change_of_the_text_would_do_is_told_to_write_by_hand(
    tmp_path: Path, parts: tuple[str, ...], figure: Figure, told: str
) -> None:
    path = fleet_of(tmp_path, SITE, *parts, REST, MACHINE)
    found = proposed(path, figure, SLOW)
    assert told in "\n".join(found.by_hand)
    assert [line for line in found.diff.splitlines()[2:] if line[0] in "+-"] == ["-charger_w = 400", "+charger_w = 300"]
    assert told in render_changes(found)
