"""``sunroster note`` from the command line: written down, asked back, taken back."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from scheduler.cli.app import app
from tests.cli_yard import FLEET, ROOT


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "yard.toml").write_text(FLEET)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def note(*words: str) -> Result:
    return CliRunner().invoke(app, ["note", "yard.toml", *words])


def lines() -> list[str]:
    return Path("yard-logbook.csv").read_text().splitlines()


def test_a_reading_is_written_down_and_told() -> None:
    done = note("--bank", "62", "--machine", "cart=40 %", "--who", "Ann", "--remark", "left breaker was off")
    assert done.exit_code == 0
    assert [line.split(",", 1)[1] for line in lines()] == [
        "what,value,who",
        "bank,62,Ann",
        "cart,40,Ann",
        "note,left breaker was off,Ann",
    ]
    told = done.stdout.splitlines()
    assert told[0].startswith("noted: bank 62 %, ")
    assert told[0].endswith(", Ann")
    assert told[2].startswith('noted: "left breaker was off", ')


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "sunroster note yard.toml --bank 62"),
        (("--remark", "  "), "nothing to note"),
        (("--bank", "121"), "no display shows that; wanted a percent from 0 to 100"),
        (("--bank", "nan", "--sure"), "no display shows that"),
        (("--bank", "full"), '--bank "full": that is no number; write one, such as --bank 62.5'),
        (("--bank", "104"), "104 % is more than full"),
        (("--machine", "crat=40"), 'did you mean "cart"?'),
        (("--machine", "cart"), 'such as --machine "cart=40"'),
        (("--machine", "cart=-4"), "no display shows that"),
        (("--bank", "62", "--at", "2099-06-08 12:30"), "has not come yet"),
        (("--bank", "62", "--at", "noon"), 'or a time of today such as "12:30"'),
        (("--undo",), "nothing to take back"),
        (("--undo", "--bank", "62"), "give it alone, then note the right one"),
    ],
)
def test_what_cannot_be_is_asked_back_with_what_to_do(words: tuple[str, ...], told: str) -> None:
    done = note(*words)
    assert done.exit_code == 2
    assert told in done.stderr
    assert not Path("yard-logbook.csv").exists()


@pytest.mark.parametrize("said", ["62,5", "62.5", "62,5 %", " 62.5%"])
def test_a_comma_and_a_percent_sign_are_taken_as_in_the_logbook(said: str) -> None:
    assert note("--bank", said, "--machine", f"cart={said}").exit_code == 0
    assert [line.split(",", 1)[1] for line in lines()[1:]] == ["bank,62.5,", "cart,62.5,"]


def test_a_bank_below_its_reserve_is_told_what_the_page_says_for_that() -> None:
    done = note("--bank", "12")
    assert done.exit_code == 0
    noted, warned = done.stdout.splitlines()
    assert noted.startswith("noted: bank 12 %")
    assert warned.startswith("BELOW THE RESERVE: the bank shows less than 25 %.")
    assert "unplug every machine and tell whoever made this plan" in warned
    assert "BELOW" not in note("--bank", "25", "--sure").stdout


def test_a_low_reading_before_a_later_one_is_only_noted() -> None:
    note("--bank", "62")
    done = note("--bank", "12", "--at", "2026-11-01 12:30", "--sure")
    assert done.exit_code == 0
    assert "BELOW" not in done.stdout


def test_a_leap_is_asked_back_and_written_down_if_sure() -> None:
    note("--bank", "62")
    asked = note("--bank", "20", "--remark", "dark")
    assert asked.exit_code == 2
    assert "it was 62 % at" in asked.stderr
    assert "--sure" in asked.stderr
    assert len(lines()) == 2
    assert note("--bank", "20", "--sure").exit_code == 0
    assert len(lines()) == 3


def test_undo_marks_the_last_reading_that_stands_and_erases_none() -> None:
    note("--bank", "62", "--at", "2026-11-01 12:30", "--sure")
    note("--bank", "26", "--at", "2026-11-01 12:31", "--sure")
    before = lines()
    done = note("--undo", "--who", "Bea")
    assert done.stdout == (
        "taken back: bank 26 %, Sun 1 Nov 12:31; its line 3 stays in yard-logbook.csv, marked by one more\n"
    )
    assert lines() == [*before, "2026-11-01T12:31-05:00,withdrawn: bank,26,Bea"]
    assert "bank 62 %" in note("--undo").stdout
    assert note("--undo").exit_code == 2


def test_undo_takes_the_latest_reading_of_a_file_that_was_sorted_newest_first() -> None:
    hours = ("17:00", "12:00", "07:00")
    rows = "".join(f"2026-11-01 {hour},bank,{hour[:2]},\n" for hour in hours)
    Path("yard-logbook.csv").write_text(f"time,what,value,who\n{rows}")
    assert [note("--undo").stdout.split(",")[0] for _ in hours] == [
        "taken back: bank 17 %",
        "taken back: bank 12 %",
        "taken back: bank 07 %",
    ]


def test_a_time_with_seconds_and_a_comma_can_be_taken_back_too() -> None:
    Path("yard-logbook.csv").write_text("time;what;value;who\n2026-11-01 12:30:15;bank;62,5;\n")
    assert note("--undo").exit_code == 0
    assert note("--undo").exit_code == 2


def test_the_sky_is_noted_in_the_words_of_plan_and_undone() -> None:
    assert note("--bank", "62", "--sky", "am: fair").stdout.splitlines()[1].startswith("noted: sky am: fair, ")
    assert ",sky,am: fair," in Path("yard-logbook.csv").read_text()
    assert note("--undo").stdout.startswith("taken back: sky am: fair")
    wrong = note("--sky", "far")
    assert wrong.exit_code == 2
    assert 'did you mean "fair"' in wrong.stderr.replace("\n", " ")


def test_lines_that_cannot_be_read_are_told_beside() -> None:
    Path("yard-logbook.csv").write_text("time,what,value,who\n2026-11-01 12:30,bank,6")
    done = note("--bank", "62")
    assert done.exit_code == 0
    assert done.stderr.startswith("yard-logbook.csv: line 2: cut off")


def test_a_folder_that_cannot_be_written_to_has_an_exit_code_of_its_own() -> None:
    Path("yard-logbook.csv").mkdir()
    done = note("--bank", "62")
    assert done.exit_code == 6
    assert "nothing was noted" in done.stderr


def test_noting_waits_for_no_heavy_library() -> None:
    script = (
        "import sys\nsys.argv = ['sunroster', 'note', 'yard.toml', '--bank', '62']\n"
        "from scheduler.cli.app import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code, end.code\n"
        "print('LOADED', sorted({'numpy', 'pandas', 'pvlib', 'pulp', 'scipy', 'rich'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        env={"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    assert done.stdout.splitlines()[-1] == "LOADED []"


def test_many_lines_that_cannot_be_read_are_told_in_four() -> None:
    Path("yard-logbook.csv").write_text("time,what,value,who\n" + "2026-11-01 12:30,bank,xx,\n" * 300)
    told = note("--remark", "so").stderr.splitlines()
    assert len(told) == 4
    assert told[0].startswith('yard-logbook.csv: line 2: "xx"')
    assert told[3] == "yard-logbook.csv: 297 more lines cannot be read"


def test_a_name_that_was_confirmed_is_in_a_file_without_a_column_for_it_too() -> None:
    Path("yard-logbook.csv").write_text("time,what,value\n2026-11-01 12:30,bank,62\n")
    assert ", Ann" in note("--bank", "62", "--who", "Ann", "--sure").stdout
    assert lines()[3].endswith(",bank,62,Ann")
    assert note("--remark", "so").stderr == ""


def south(words: str) -> tuple[str, str]:
    """Note it in Adelaide, where the clock goes on an hour at 02:00 of 4 October and back at 03:00 of 5 April."""
    Path("yard.toml").write_text(FLEET.replace("America/New_York", "Australia/Adelaide"))
    done = note("--bank", "62", "--sure", "--at", words)
    assert done.exit_code == 0
    return done.stdout.strip(), " ".join(done.stderr.split())


def test_a_time_that_the_clock_skips_is_told_with_what_was_taken_and_the_other_one() -> None:
    noted, beside = south("2026-10-04 02:30")
    assert noted == "noted: bank 62 %, Sun 4 Oct 03:30"
    assert beside == (
        '--at "2026-10-04 02:30": the clock skips that on that day; taken is 2026-10-04 03:30+10:30; '
        'if it was 2026-10-04 01:30+09:30: --undo, then --at "2026-10-04 01:30+09:30"'
    )
    assert "2026-10-04T03:30+10:30,bank" in Path("yard-logbook.csv").read_text()
    assert south("2026-10-04 01:30+09:30") == ("noted: bank 62 %, Sun 4 Oct 01:30", "")


def test_a_time_that_the_clock_shows_twice_is_told_with_its_offset_and_the_other_one() -> None:
    noted, beside = south("2026-04-05 02:30")
    assert noted == "noted: bank 62 %, Sun 5 Apr 02:30+10:30"
    assert beside == (
        '--at "2026-04-05 02:30": the clock shows that twice on that day; taken is 2026-04-05 02:30+10:30; '
        'if it was 2026-04-05 02:30+09:30: --undo, then --at "2026-04-05 02:30+09:30"'
    )
    assert south("2026-04-05 02:30+09:30") == ("noted: bank 62 %, Sun 5 Apr 02:30+09:30", "")
    assert south("2026-04-05 01:30") == ("noted: bank 62 %, Sun 5 Apr 01:30", "")
    assert south("2026-04-05 03:00") == ("noted: bank 62 %, Sun 5 Apr 03:00", "")
