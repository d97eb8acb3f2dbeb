"""What the command does when all is well: answers on one screen, writes what it is asked for, teaches by its help."""

from __future__ import annotations

import datetime as dt
import inspect
import json
import re
from pathlib import Path
from typing import Any, get_type_hints

import pytest

import scheduler
from scheduler.cli import plan as plan_command
from scheduler.cli.app import app
from tests.cli_yard import FLEET, lay_out, plan, run


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    lay_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def plan_of(*words: str, **more: str | None) -> dict[str, Any]:
    """The plan as JSON."""
    result = plan("--json", "plan.json", *words, **more)
    assert result.exit_code == 0, result.stderr
    return json.loads(Path("plan.json").read_text(encoding="utf-8"))


def test_the_version_is_told_alone() -> None:
    result = run("--version")
    assert (result.exit_code, result.stdout) == (0, f"sunroster {scheduler.__version__}\n")


COMMANDS = {
    command.callback.__name__: command.callback for command in app.registered_commands if command.callback
}


@pytest.mark.parametrize("command", COMMANDS)
def test_the_help_of_every_command_shows_an_example_and_explains_every_word(command: str) -> None:
    told = run(command, "--help").stdout
    assert f"Example: sunroster {command} " in told
    hints = get_type_hints(COMMANDS[command], include_extras=True)
    for name in inspect.signature(COMMANDS[command]).parameters:
        (words,) = hints[name].__metadata__
        assert words.help, f"{name} has no help"
        assert words.help.split()[0] in told


def test_these_are_the_commands() -> None:
    assert set(COMMANDS) == {"plan", "note", "compare", "sun", "check", "fits", "year", "size", "new"}


def test_the_first_sentence_tells_who_will_be_ready() -> None:
    result = plan()
    assert result.exit_code == 0
    assert re.match(r"(Both machines will be ready|\d of 2 ma)", result.stdout)
    assert result.stderr == ""


def test_no_line_is_longer_than_80_and_nothing_is_coloured() -> None:
    told = plan().stdout
    assert max(len(line) for line in told.splitlines()) <= 80
    assert "\x1b" not in told


WRITTEN = {
    "--sheet": ("door.pdf", b"%PDF-"),
    "--calendar": ("visits.ics", b"BEGIN:VCALENDAR"),
    "--chart": ("chart.svg", b"<?xml"),
    "--json": ("plan.json", b"{"),
}


def test_every_output_flag_writes_its_file_whole_and_says_so(folder: Path) -> None:
    words = [word for flag, (name, _) in WRITTEN.items() for word in (flag, name)]
    before = set(folder.iterdir())
    result = plan(*words)
    assert result.exit_code == 0, result.stderr
    assert {path.name for path in set(folder.iterdir()) - before} == {name for name, _ in WRITTEN.values()}
    for name, head in WRITTEN.values():
        assert (folder / name).read_bytes().startswith(head)
        assert f"written: {name}\n" in result.stderr


@pytest.mark.parametrize(("flag", "name", "head"), [
    ("--sheet", "door.PNG", b"\x89PNG"),
    ("--sheet", "door.svg", b"<svg"),
    ("--sheet", "door.txt", b"bean shed"),
    ("--chart", "chart.png", b"\x89PNG"),
])  # fmt: skip
def test_the_ending_decides_the_format(flag: str, name: str, head: bytes) -> None:
    assert plan(flag, name).exit_code == 0
    assert head in Path(name).read_bytes()[:200]


def test_the_paper_of_the_page_can_be_chosen() -> None:
    for paper in ("a4", "us-letter"):
        assert plan("--sheet", f"{paper}.svg", "--paper", paper).exit_code == 0
    sizes = [
        re.search(r'width="([\d.]+)', Path(f"{paper}.svg").read_text())[1] for paper in ("a4", "us-letter")
    ]
    assert [round(float(size)) for size in sizes] == [595, 612]


def test_an_old_file_gives_way_and_a_link_keeps_pointing_to_it(folder: Path) -> None:
    kept = folder / "kept"
    kept.mkdir()
    (kept / "plan.json").write_text("old")
    (folder / "plan.json").symlink_to(kept / "plan.json")
    assert plan("--json", "plan.json").exit_code == 0
    assert (folder / "plan.json").is_symlink()
    assert (kept / "plan.json").read_text().startswith("{")


STARTS = {
    "2027-06-09 06:00": "2027-06-09T06:00:00-04:00",
    "2027-06-09T06:00": "2027-06-09T06:00:00-04:00",
    "2027-06-09T10:00Z": "2027-06-09T06:00:00-04:00",
    "2027-06-09T06:00-04:00": "2027-06-09T06:00:00-04:00",
    "2027-06-09 06:10": "2027-06-09T06:15:00-04:00",
}


@pytest.mark.parametrize("start", STARTS)
def test_from_is_read_in_every_usual_form(start: str) -> None:
    assert plan_of(start=start)["starts"][0] == STARTS[start]


class _Clock(dt.datetime):
    """The clock stands at 13:20 UTC, 09:20 in the yard."""

    @classmethod
    def now(cls, tz: dt.tzinfo | None = None) -> dt.datetime:
        return dt.datetime(2027, 6, 8, 13, 20, tzinfo=dt.UTC).astimezone(tz)


@pytest.mark.parametrize(("start", "begins"), [("06:00", "2027-06-08T06:00"), (None, "2027-06-08T10:00")])
def test_a_time_alone_is_today_and_none_is_the_next_full_step(
    start: str | None, begins: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(plan_command.dt, "datetime", _Clock)
    made = plan_of(start=start)
    assert made["starts"][0][:16] == begins
    assert made["made_at"] == "2027-06-08T09:20:00-04:00"


def test_hours_and_step_set_the_grid() -> None:
    made = plan_of("--hours", "10", "--step", "15")
    assert (made["step_minutes"], len(made["starts"])) == (15, 40)


def test_somebody_here_changes_the_plan() -> None:
    first_visits = [plan_of(*words)["visits"][0]["at"] for words in ((), ("--here",))]
    assert first_visits == ["2027-06-08T17:00:00-04:00", "2027-06-08T16:00:00-04:00"]


def test_readings_by_hand_stand_in_place_of_the_file() -> None:
    made = plan_of("--bank", "52,5", "--charge", "cart=80", "--charge", "mower= 20 %")
    assert made["bank"]["start_wh"] == 0.525 * 5000
    assert [machine["charge_wh"][0] for machine in made["machines"]] == [0.80 * 1400, 0.20 * 2500]


def test_a_bank_below_its_reserve_is_planned_from_and_told_first() -> None:
    result = plan("--bank", "20")
    assert result.exit_code == 0
    assert result.stdout.startswith("The bank begins below its reserve of 25 %")


def test_without_weather_the_typical_year_of_the_fleet_file_serves(folder: Path) -> None:
    year = (Path(__file__).parents[1] / "forecasts" / "greensboro-tmy3.csv").as_posix()
    lay_out(folder, FLEET.replace("\n[[arrays]]", f'typical_year = "{year}"\n\n[[arrays]]', 1))
    assert "typical" in plan_of(weather=None)["sun_source"].casefold()


def test_a_forecast_that_ends_early_ends_the_plan_and_is_noted() -> None:
    result = plan("--json", "plan.json", start="2027-06-10 06:00")
    assert json.loads(Path("plan.json").read_text())["starts"][-1] == "2027-06-10T23:00:00-04:00"
    assert "the weather is known until Fri 11 Jun 00:00" in " ".join(result.stdout.split()).replace(
        "The w", "the w"
    )


def test_names_are_text_and_never_markup(folder: Path) -> None:
    lay_out(folder, FLEET.replace('name = "cart"', 'name = "[red]x[/] [m1]"'))
    assert "[red]x[/] [m1]" in plan().stdout


def test_the_starter_is_made_and_plans_as_it_stands() -> None:
    made = run("new", "mine.toml")
    assert made.exit_code == 0
    assert "sunroster plan mine.toml" in made.stdout
    assert plan(fleet="mine.toml").exit_code == 0


def test_the_starter_writes_over_nothing_unless_told_to() -> None:
    Path("mine.toml").write_text("mine")
    refused = run("new", "mine.toml")
    assert refused.exit_code == 2
    assert "--force" in refused.stderr
    assert Path("mine.toml").read_text() == "mine"
    assert run("new", "mine.toml", "--force").exit_code == 0
    assert "[site]" in Path("mine.toml").read_text()


def test_a_screen_that_cannot_be_drawn_leaves_no_file(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise ValueError

    monkeypatch.setattr("scheduler.sheet.screen.render_plan", fail)
    with pytest.raises(ValueError, match=r"^$"):
        plan("--json", "plan.json")
    assert not Path("plan.json").exists()
