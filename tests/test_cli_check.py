"""``sunroster check`` from its files to its outputs, and the line that ``plan`` says of it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import Result

from scheduler.checkup.findings import Grade
from tests.cli_yard import FLEET, ROOT, lay_out, plan, run

WEATHER = ROOT / "forecasts" / "greensboro-tmy3.csv"

#: The inverter of this yard gives less than the mower's charger draws: it can never be charged (R5).
TOO_WEAK = FLEET.replace("continuous_w = 1500", "continuous_w = 400")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    lay_out(tmp_path)
    (tmp_path / "weak.toml").write_text(TOO_WEAK, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def check(*words: str, fleet: str = "yard.toml") -> Result:
    return run("check", fleet, *words)


def test_with_a_typical_year_it_is_checked_shown_and_written(folder: Path) -> None:
    done = check("--weather", str(WEATHER), "--json", "check.json", "--sheet", "check.pdf")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("Nothing found that would stop the plan; ")
    assert max(len(line) for line in done.stdout.splitlines()) <= 80
    assert "Weather: typical year 723170 (TMY3)." in done.stdout
    assert done.stderr == "written: check.pdf\nwritten: check.json\n"
    assert (folder / "check.pdf").read_bytes().startswith(b"%PDF")


def test_the_json_has_all_that_the_screen_has(folder: Path) -> None:
    check("--weather", str(WEATHER), "--json", "check.json")
    told = json.loads((folder / "check.json").read_text(encoding="utf-8"))
    assert told["format"] == "sunroster.check/1"
    assert (told["site"], told["weather"]) == ("bean shed", "typical year 723170 (TMY3)")
    assert told["answer"].startswith("Nothing found that would stop the plan; ")
    assert set(told["counts"]) == set(Grade)
    assert sum(told["counts"].values()) == len(told["findings"]) > 0
    assert {key for one in told["figures"] for key in one} == {
        "part", "about", "name", "value", "unit", "limit", "source", "at_least",
    }  # fmt: skip
    assert {key for one in told["findings"] for key in one} == {
        "grade", "part", "about", "title", "found", "limit", "unit", "source", "meaning", "mend", "caution",
    }  # fmt: skip
    assert any("wind_gust_m_s in [site]" in text for text in told["unchecked"])


def test_without_a_typical_year_it_does_what_can_be_done_and_asks_for_one(folder: Path) -> None:
    done = check("--json", "check.json")
    assert done.exit_code == 0, done.output
    said = " ".join(done.stdout.split())
    assert "No typical year: what hangs on the weather was left out. Give one with --weather FILE" in said
    told = json.loads((folder / "check.json").read_text(encoding="utf-8"))
    assert told["weather"] is None
    assert told["figures"]


def test_a_stop_is_told_and_no_error(folder: Path) -> None:
    done = check(fleet="weak.toml")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("1 thing should stop the plan (AC side): mend it first; ")
    assert "STOP: AC side, mower" in done.stdout


def test_a_plan_tells_in_a_line_what_should_stop_it(folder: Path) -> None:
    done = plan("--json", "plan.json", "--sheet", "door.txt", fleet="weak.toml")
    assert done.exit_code == 0, done.output
    line = "The check-up finds 1 thing that should stop this plan (AC side, mower); see `sunroster check weak.toml`."
    assert f"Note: {line}" in " ".join(done.stdout.split())
    assert line in (folder / "door.txt").read_text(encoding="utf-8")
    assert (
        json.loads((folder / "plan.json").read_text(encoding="utf-8"))["notes"][0]
        == line[:1].lower() + line[1:-1]
    )


def test_a_plan_of_a_sound_yard_says_nothing_of_it() -> None:
    assert "check-up" not in plan().output


@pytest.mark.parametrize(
    ("flags", "code", "said"),
    [
        (("--sheet", "check.txt"), 2, "--sheet check.txt: wanted a name that ends in .pdf or .png or .svg"),
        (("--sheet", "nowhere/check.pdf"), 2, "there is no folder nowhere; make it first"),
        (("--paper", "a5"), 2, "--paper a5: wanted a4 or us-letter"),
        (("--json", "yard.toml"), 2, "this file is read or written for something else too"),
        (("--weather", "sky.csv"), 2, "--weather sky.csv: this is a forecast"),
        (("--weather", "none.csv"), 3, "none.csv"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_a_wrong_flag_is_told_with_what_was_wanted(flags: tuple[str, ...], code: int, said: str) -> None:
    done = check(*flags)
    assert done.exit_code == code
    assert said in done.stderr


def test_letters_that_the_page_does_not_have_are_told(folder: Path) -> None:
    (folder / "yard.toml").write_text(FLEET.replace("bean shed", "日本 shed"), encoding="utf-8")
    done = check("--sheet", "check.svg")
    assert "written: check.svg\nnote: 日本 shed: the page has no letter for [U+65E5], [U+672C]" in done.stderr


def test_the_help_says_what_findings_do_to_the_exit_code() -> None:
    said = " ".join(check("--help").stdout.split())
    assert "The exit code is 0 with findings too." in said
    assert "Example: sunroster check my-yard.toml --sheet check.pdf" in said
