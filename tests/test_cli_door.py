"""A new plan at noon: from the logbook and the page on the door, with what changes as a text message."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli_yard import everything_in, lay_out, plan, run

NOON = "2027-06-09 12:00"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    lay_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def plan_the_day(folder: Path) -> None:
    """The page that hangs on the door, from Tuesday 16:00, and what was read on Wednesday."""
    assert plan("--json", "door.json").exit_code == 0
    (folder / "yard-logbook.csv").write_text(
        "time,what,value,who\n2027-06-09T07:00-04:00,bank,60,Ann\n2027-06-09T11:50-04:00,bank,41,Ann\n"
    )


def notes(printed: str) -> str:
    return " ".join(printed.split())


def test_a_plan_starts_from_what_was_noted_and_says_so(folder: Path) -> None:
    plan_the_day(folder)
    done = plan("--json", "noon.json", start=NOON)
    assert done.exit_code == 0
    start_wh = json.loads((folder / "noon.json").read_text())["bank"]["start_wh"]
    assert start_wh == pytest.approx(0.41 * 5000)
    assert (
        "At the start, from the logbook: bank 41 % (Wed 9 Jun 11:50); from the fleet file: the rest."
        in notes(done.stdout)
    )
    given = plan("--bank", "50", "--json", "given.json", start=NOON)
    assert json.loads((folder / "given.json").read_text())["bank"]["start_wh"] == pytest.approx(2500)
    assert "from the command line: bank 50 %" in notes(given.stdout)


def test_what_was_noted_a_moment_ago_is_planned_from() -> None:
    run("note", "yard.toml", "--bank", "33")
    done = plan("--sky", "today: fair, tomorrow: fair", "--json", "now.json", weather=None, start=None)
    assert done.exit_code == 0
    assert json.loads(Path("now.json").read_text())["bank"]["start_wh"] == pytest.approx(0.33 * 5000)


def test_what_changes_on_the_page_is_on_the_screen_and_in_the_message(folder: Path) -> None:
    plan_the_day(folder)
    done = plan("--door", "door.json", "--text", "message.txt", start=NOON)
    assert done.exit_code == 0
    message = (folder / "message.txt").read_text()
    assert message.startswith("bean shed: changes to the page made ")
    assert "from Wed 9 Jun 12:00 on, bank then at 41 %." in message
    assert "WHAT CHANGES" in done.stdout
    assert notes(message) in notes(done.stdout)
    assert "written: message.txt" in done.stderr


def test_the_message_alone_goes_to_the_screen_with_a_dash(folder: Path) -> None:
    plan_the_day(folder)
    plan("--door", "door.json", "--text", "message.txt", start=NOON)
    done = plan("--door", "door.json", "--text", "-", start=NOON)
    assert done.stdout == (folder / "message.txt").read_text()


def test_beside_the_message_alone_stands_what_the_plan_took_for_granted(folder: Path) -> None:
    plan_the_day(folder)
    with (folder / "yard-logbook.csv").open("a") as log:
        log.write("2027-06-09T11:50-04:00,crat,40,Ann\n")
    done = plan("--door", "door.json", "--text", "-", start=NOON)
    assert "note: plugged in at the start, as the page on the door has it: " in done.stderr
    assert '"crat"' in done.stderr


def test_what_the_page_plugged_in_stays_in_until_the_next_visit(folder: Path) -> None:
    plan_the_day(folder)
    door = json.loads((folder / "door.json").read_text())
    step = door["starts"].index("2027-06-09T09:00:00-04:00")
    there = {each["name"]: each["outlet"][step] for each in door["machines"] if each["outlet"][step]}
    assert list(there) == ["mower"]  # it goes to work at noon
    assert plan("--door", "door.json", "--json", "ten.json", start="2027-06-09 10:00").exit_code == 0
    ten = json.loads((folder / "ten.json").read_text())
    outlets = {each["name"]: each["outlet"] for each in ten["machines"]}
    assert outlets["mower"][:3] == [there["mower"], there["mower"], None]
    assert set(outlets["cart"][:7]) == {None}  # nobody comes before 17:00


def test_the_same_plan_made_again_changes_nothing(folder: Path) -> None:
    plan_the_day(folder)
    (folder / "yard-logbook.csv").unlink()
    done = plan("--door", "door.json", "--text", "-")
    assert "Nothing changes." in done.stdout


def test_outlets_that_are_alike_are_used_as_the_page_has_them(folder: Path) -> None:
    plan_the_day(folder)
    (folder / "yard-logbook.csv").unlink()
    door = (folder / "door.json").read_text()
    assert {action["outlet"] for visit in json.loads(door)["visits"] for action in visit["plug"]}
    swapped = door.replace('"bench"', '"?"').replace('"gate"', '"bench"').replace('"?"', '"gate"')
    (folder / "swapped.json").write_text(swapped)
    done = plan("--door", "swapped.json", "--text", "-")
    assert "Nothing changes." in done.stdout


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("--text", "message.txt"), 2, "give its plan, such as --door door.json"),
        (("--door", "yard.toml"), 3, "no JSON; make one with: sunroster plan"),
        (("--door", "else.json"), 3, "No such file"),
        (("--door", "door.json", "--json", "door.json"), 2, "read or written for something else too"),
        (("--door", "door.json", "--text", "door.json"), 2, "read or written for something else too"),
    ],
)
def test_flags_that_do_not_go_together_are_told_and_nothing_is_written(
    folder: Path, words: tuple[str, ...], code: int, told: str
) -> None:
    plan_the_day(folder)
    before = everything_in(folder)
    done = plan(*words, start=NOON)
    assert done.exit_code == code
    assert told in done.stderr
    assert everything_in(folder) == before


def test_a_logbook_that_is_none_stops_the_plan(folder: Path) -> None:
    (folder / "yard-logbook.csv").write_bytes(b"PK\x03\x04")
    done = plan()
    assert done.exit_code == 3
    assert "save it from the spreadsheet as CSV, UTF-8" in done.stderr


def test_a_machine_and_an_outlet_that_were_renamed_since_the_page_are_told_with_both_names(folder: Path) -> None:
    plan_the_day(folder)
    fleet = (folder / "yard.toml").read_text()
    (folder / "yard.toml").write_text(fleet.replace('"cart"', '"trolley"').replace('"bench"', '"shed wall"'))
    told = notes(plan("--door", "door.json", start=NOON).stdout)
    assert (
        'The plan door.json names "cart", which is no machine of this yard; its outlet and charge there are left '
        'aside; did you mean "trolley"?'
    ) in told
    assert 'The plan door.json names "bench", which is no outlet of this yard' in told


def test_the_page_of_another_yard_without_a_name_is_refused(folder: Path) -> None:
    plan_the_day(folder)
    fleet = (folder / "yard.toml").read_text()
    other = fleet.replace('"cart"', '"crane"').replace('"mower"', '"digger"').replace("[5000]", "[6000]")
    (folder / "yard.toml").write_text(other)
    done = plan("--door", "door.json", start=NOON)
    assert done.exit_code == 3
    assert "the plan of another yard: it is of cart, mower, this yard has crane, digger" in notes(done.stderr)
