"""Files that once broke a reader, each named by what is wrong with it: refused now in words that say where, or read."""

# ruff: noqa: E501  tables of odd things
from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from scheduler.errors import LONGEST_TOLD, InputError, UsageError, told_plainly
from tests.attack.judging import READERS, fault_of, upsets_terminals
from tests.attack.originals import FLEET, FORECAST, LOGBOOK, originals


def first_of(kind: str) -> str:
    return originals()[kind][0].decode()


def with_line(text: str, number: int, line: str) -> str:
    lines = text.split("\n")
    lines[number - 1] = line
    return "\n".join(lines)


def without_line(text: str, number: int) -> str:
    lines = text.split("\n")
    del lines[number - 1]
    return "\n".join(lines)


def tmy3_line(number: int) -> list[str]:
    return first_of("TMY3").split("\n")[number - 1].split(",")


def state_with(**changed: object) -> str:
    return json.dumps({**json.loads(first_of("state")), **changed})


#: By what is wrong: the kind of file, how it is made, and what is told; None where it is read all the same.
SPOILT: dict[str, tuple[str, Callable[[], str], str | None]] = {
    "a name that turns the direction of reading": (
        "fleet", lambda: FLEET.replace('"cart"', '"cart\\u202e"'), "line 34: machine \"cart?\": name: wanted one line of text",
    ),
    "a name that commands the terminal": (
        "fleet", lambda: FLEET.replace('"cart"', '"cart\\u009b31m"'), "name: wanted one line of text",
    ),
    "a key that commands the terminal": (
        "fleet", lambda: FLEET.replace("panels = 4", 'panels = 4\n"\\u001b[2J" = 1'), "line 10: array \"roof\": ?[2J: unknown key",
    ),
    "a key of 100 000 letters": (
        "fleet", lambda: FLEET.replace("panels = 4", f"panels = 4\n{100_000 * 'y'} = 1"), "array \"roof\": yyyyyyyy",
    ),
    "a name of 3 000 letters": (
        "fleet",
        lambda: FLEET.replace('"cart"', f'"{3000 * "c"}"'),
        "name: wanted at most 200 letters",
    ),
    "a return after the calendar's end": (
        "fleet",
        lambda: FLEET.replace("away_h = 4", "away_h = 1e9"),
        "away_h: wanted at most 8784 hours, found 1000000000.0",
    ),
    "a quote that is never closed": (
        "forecast", lambda: 'time,ghi_w_m2\n"2027-06-08T00:00,1\n' + 20_000 * "2027-06-08T01:00\n",
        "row 2: cannot be read; is there a double quote that is not closed?",
    ),
    "a cell of 3 000 letters": (
        "forecast", lambda: FORECAST.read_text().replace("367,293", 3000 * "é" + ",293", 1),
        "' is not a number",
    ),
    "600 000 columns": (
        "EPW", lambda: first_of("EPW").replace("2001,1,1,1,60", "2001,1,1,1,60" + 600_000 * ",", 1),
        "letters; no weather file has lines of more than 4000",
    ),
    "a line over and over": (
        "PVGIS csv", lambda: first_of("PVGIS csv") + 1_500_000 * "1,2015\n", "more than 10000 lines is no typical year",
    ),
    "20 MB and more": ("TMY3", lambda: first_of("TMY3") + 20_000_000 * " ", "more than 20 MB is no weather file"),
    "a line with too many cells": (
        "TMY3", lambda: with_line(first_of("TMY3"), 3973, "1,2,3," + ",".join(tmy3_line(3973))),
        "line 3973: unlike the lines around it; the file looks like a typical year (TMY3)",
    ),
    "a date of another form": (
        "TMY3", lambda: with_line(first_of("TMY3"), 500, ",".join(["2027-06-08", *tmy3_line(500)[1:]])),
        "line 500: unlike the lines around it",
    ),
    "a letter in a column of digits": (
        "TMY2", lambda: with_line(first_of("TMY2"), 77, first_of("TMY2").split("\n")[76].replace("0", "x", 1)),
        "line 77: unlike the lines around it",
    ),
    "an hour that is lost": (
        "TMY3", lambda: without_line(first_of("TMY3"), 103),
        "found 8759; the first out of order is the hour from 05 Jan 04:00; is the file cut off, or a line of it lost?",
    ),
    "samples taken at no time": (
        "PVGIS csv",
        lambda: first_of("PVGIS csv").replace("Offset (h): 0.17", "Offset (h): Infinity"),
        "its irradiance time offset is inf h, wanted one within the hour",
    ),
    "a sun without end": (
        "PVGIS csv",
        lambda: first_of("PVGIS csv").replace("50.0,334.9325373873745,", "50.0,1e999,", 1),
        "ghi_w_m2 is inf in the hour from 01 Jun 0",
    ),
    "a place that is nowhere": (
        "PVGIS csv",
        lambda: first_of("PVGIS csv").replace("degrees): 36.1", "degrees): inf", 1),
        "the place in its head is (inf, -79.95); wanted degrees north and east",
    ),
    "percents that are words in a plan": (
        "plan", lambda: re.sub(r'"bank_pct": \d+', '"bank_pct": "none"', first_of("plan")), "a plan that was changed or cut off",
    ),
    "a figure that is a table in a state": (
        "state",
        lambda: re.sub(r'"ac_off_h":[0-9.]+', '"ac_off_h":{}', first_of("state")),
        "a state file that was changed or cut off",
    ),
    "a figure that is another in a state": (
        "state", lambda: first_of("state").replace('"edge":72', '"edge":71'), "a state file that was changed or cut off",
    ),
    "JSON that breaks off": (
        "PVGIS json", lambda: first_of("PVGIS json")[:5000], "line 1, column ",
    ),
    "brackets nested deep in a typical year": ("PVGIS json", lambda: '{"a":' * 90_000, "recursion depth"),
    "a plan of seven million lists": ("plan", lambda: f"[{'[],' * 7_000_000}[]]", "more than 20 MB is no saved plan"),
    "brackets nested deep in a plan": ("plan", lambda: "[" * 90_000, "no JSON; make one with"),
    "a plan made before all years": (
        "plan",
        lambda: json.dumps({**json.loads(first_of("plan")), "made_at": "0001-01-01T00:00:00+12:00"}),
        "a plan that was changed or cut off",
    ),
    "steps of no minutes": (
        "plan",
        lambda: json.dumps({**json.loads(first_of("plan")), "step_minutes": 0}),
        "a plan that was changed or cut off",
    ),
    "a time zone too long for a file's name": (
        "plan",
        lambda: first_of("plan").replace("America/New_York", "America/New_York" + 300 * ","),
        "a plan that was changed or cut off",
    ),
    "remarks of many kinds in a column that nobody asks for": (
        "EPW",
        lambda: first_of("EPW").replace("60,?", "60,7", 4000),
        None,
    ),
    "a date that is none in a state": (
        "state", lambda: first_of("state").replace('"2027-05-03"', '"{a = 1}"'), "a state file that was changed or cut off",
    ),
    "years that are no list in a state": ("state", lambda: state_with(resampled=7), "a state file that was changed"),
    "a state without its year": (
        "state", lambda: json.dumps({key: value for key, value in json.loads(first_of("state")).items() if key != "year"}),
        "a state file that was changed",
    ),
    "a control character in a time": ("logbook", lambda: LOGBOOK.replace("07:05", "07:\x105", 1), None),
    "a machine whose name ends a line": ("logbook", lambda: LOGBOOK.replace("mower", "mow\u2028er"), None),
    "a thousand unknown machines": (
        "logbook", lambda: LOGBOOK + "".join(f"2027-06-08T07:00,zeppelin {n},5,\n" for n in range(1000)), None,
    ),
    "a line of 100 000 letters": ("logbook", lambda: LOGBOOK.replace("bank,62", 100_000 * "=" + ",62", 1), None),
    "more lines than a century has": ("logbook", lambda: LOGBOOK + 1_999_000 * "x,y\n", "more than 8 MB or 100000 lines is no"),
    "10 000 readings, each taken back": (
        "logbook", lambda: LOGBOOK + 10_000 * "2027-06-08T07:00,bank,9,\n" + 10_000 * "2027-06-08T07:00,withdrawn: bank,9,\n",
        None,
    ),
}  # fmt: skip


#: Those of the other kinds wait for a typical year to be read and a plan to be made.
QUICK = ("fleet", "forecast", "logbook")


@pytest.mark.parametrize(
    "wrong",
    [
        pytest.param(wrong, marks=[] if kind in QUICK else [pytest.mark.slow])
        for wrong, (kind, _, _) in SPOILT.items()
    ],
)
def test_what_once_broke_a_reader_is_refused_in_plain_words(wrong: str, tmp_path: Path) -> None:
    kind, make, told = SPOILT[wrong]
    path = tmp_path / "spoilt"
    path.write_text(make(), encoding="utf-8", newline="")
    assert fault_of(kind, path) is None
    if told is None:
        READERS[kind](path)
        return
    with pytest.raises((InputError, UsageError)) as caught:
        READERS[kind](path)
    assert told in str(caught.value)


def test_a_unit_of_a_fetched_document_that_turns_the_direction_of_reading_is_told_harmlessly(tmp_path: Path) -> None:
    document = first_of("document").replace('"cloud_area_fraction": "%"', '"cloud_area_fraction": "\\u202e"')
    path = tmp_path / "document"
    path.write_text(document)
    assert READERS["document"](path) == ["cloud_area_fraction is in ?, wanted %"]


@pytest.mark.slow
def test_a_device_without_an_end_is_read_no_further_than_a_file_may_be_long() -> None:
    for kind in ("forecast", "plan", "logbook", "state"):
        with pytest.raises(InputError):
            READERS[kind](Path("/dev/zero"))


def test_a_message_keeps_its_place_and_its_advice_and_leaves_out_its_middle() -> None:
    told = told_plainly("row 7: " + 90_000 * "x" + "; write it out")
    assert told.startswith("row 7: xxx")
    assert told.endswith("x; write it out")
    assert len(told) <= LONGEST_TOLD + 5
    odd = "\x1b[31m a\u202eb\u2028c\ud800 é ñ"
    assert told_plainly(odd) == "?[31m a?b?c? é ñ"
    assert not any(map(upsets_terminals, told_plainly(odd)))
