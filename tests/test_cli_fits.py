"""``sunroster fits`` and ``sunroster size`` from their files to their outputs."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from scheduler.cli.app import app
from tests.cli_yard import FLEET, ROOT

WEATHER = ROOT / "forecasts" / "greensboro-tmy3.csv"

NEW = """\
[[machines]]
name = "wheel hoe"
battery_wh = 270
charger_w = 90
self_protecting = true
charge_pct = 90

[[machines.needs]]
ready_by = 17:00
energy_wh = 60
"""


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "yard.toml").write_text(FLEET, encoding="utf-8")
    (tmp_path / "new.toml").write_text(NEW, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path


def run(*words: str, weather: Path | None = WEATHER) -> Result:
    given = [] if weather is None else ["--weather", str(weather)]
    return CliRunner().invoke(app, [*words, *given])


def fits(*flags: str) -> Result:
    return run("fits", "yard.toml", "new.toml", *flags)


JUNE = ("--from", "2027-06-01", "--days", "3")


def test_the_answer_is_the_first_sentence_and_the_json_has_it_too(folder: Path) -> None:
    done = fits(*JUNE, "--workers", "1", "--json", "fit.json")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("The wheel hoe fits.\n")
    assert done.stderr == "written: fit.json\n"
    assert max(len(line) for line in done.stdout.splitlines()) <= 80
    told = json.loads((folder / "fit.json").read_text(encoding="utf-8"))
    assert (told["format"], told["answer"], told["fits"]) == ("sunroster.fits/1", "The wheel hoe fits.", True)
    assert [month["month"] for month in told["months"]] == ["June"]
    assert told["months"][0]["newcomers"][0]["asked"] == 3
    assert told["lived_days"] == 6


def test_a_machine_that_does_not_fit_is_told_with_what_limits_and_what_would_help(folder: Path) -> None:
    # What a day's work takes, its charger gives back in a day and a quarter.
    weak = NEW.replace("charger_w = 90", "charger_w = 12").replace("energy_wh = 60", "energy_wh = 265")
    (folder / "new.toml").write_text(weak, encoding="utf-8")
    done = fits("--from", "2027-12-06", "--days", "3", "--json", "fit.json")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("The wheel hoe does not fit.\n")
    assert "No limit eased by itself makes December fit" in done.stdout
    assert "Not by itself, as far as tried: panels, bank modules, an outlet" in done.stdout
    told = json.loads((folder / "fit.json").read_text(encoding="utf-8"))
    limits = ["sun", "bank", "inverter", "outlets", "visits", "cold or heat"]
    assert [(limit["limit"], limit["fits"]) for limit in told["limits"]] == [(name, False) for name in limits]
    assert (told["fits"], told["months_that_fit"], told["remedies"]) == (False, [], [])


def test_a_quick_answer_names_the_month_of_least_sun(folder: Path) -> None:
    done = fits("--quick", "--json", "fit.json")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("In December the wheel hoe ")
    told = json.loads((folder / "fit.json").read_text(encoding="utf-8"))
    assert [week["sun"] for week in told["design_weeks"]] == ["dull", "likely", "bright"]


def test_sizes_are_shown_beside_the_rule_drawn_and_written(folder: Path) -> None:
    done = run(
        "size",
        "yard.toml",
        "--panels",
        "4,6",
        "--modules",
        "1,2",
        "--days",
        "1",
        "--chart",
        "s.svg",
        "--json",
        "s.json",
    )
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("With 4 panels and 1 bank module the yard meets ")
    assert "array-to-load ratio" in done.stdout
    told = json.loads((folder / "s.json").read_text(encoding="utf-8"))
    assert told["format"] == "sunroster.size/1"
    assert [(size["panels"], size["modules"]) for size in told["sizes"]] == [(4, 1), (4, 2), (6, 1), (6, 2)]
    assert (told["today"]["panels"], told["today"]["modules"]) == (4, 1)
    assert (folder / "s.svg").read_bytes().startswith(b"<?xml")


@pytest.mark.parametrize("command", [("fits", "yard.toml", "new.toml"), ("size", "yard.toml")], ids=" ".join)
def test_without_a_typical_year_the_command_says_where_one_is_named(command: tuple[str, ...]) -> None:
    done = run(*command, weather=None)
    assert done.exit_code == 2
    assert "no typical year: give one with --weather FILE" in done.stderr


@pytest.mark.parametrize(
    ("flags", "code", "said"),
    [
        (("--from", "tomorrow"), 2, 'wanted a date such as "2027-06-01"'),
        (("--json", "nowhere/fit.json"), 2, "there is no folder nowhere; make it first"),
    ],
)
def test_a_wrong_flag_is_told_with_what_was_wanted(flags: tuple[str, ...], code: int, said: str) -> None:
    done = fits(*flags)
    assert done.exit_code == code
    assert said in done.stderr


def test_a_newcomer_without_a_weekly_need_is_told(folder: Path) -> None:
    (folder / "new.toml").write_text(NEW.replace("17:00", "2027-06-09 17:00"), encoding="utf-8")
    done = fits()
    assert done.exit_code == 2
    assert "wheel hoe has no need that comes every week" in done.stderr


def test_a_mistake_in_the_newcomers_file_is_told_with_its_line(folder: Path) -> None:
    (folder / "new.toml").write_text(NEW.replace("charger_w", "charger"), encoding="utf-8")
    done = fits()
    assert done.exit_code == 3
    assert 'new.toml: line 4: machine "wheel hoe": charger: unknown key' in done.stderr


def test_a_forecast_is_no_year(folder: Path) -> None:
    done = run("size", "yard.toml", weather=ROOT / "forecasts" / "field-edge-three-days.csv")
    assert done.exit_code == 2
    assert "this is a forecast" in done.stderr


def test_a_chart_wants_an_ending_that_can_be_drawn() -> None:
    done = run("size", "yard.toml", "--chart", "sizes.pdf")
    assert done.exit_code == 2
    assert "wanted a name that ends in .png or .svg" in done.stderr
