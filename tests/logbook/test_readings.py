"""The logbook as the program writes it, as people type it, and as spreadsheets and power cuts leave it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from scheduler.errors import LogbookError
from scheduler.logbook.cells import is_day_first, parse_time, parse_value_pct
from scheduler.logbook.readings import Logbook, logbook_path, parse_logbook, read_logbook
from scheduler.yard.models import Site

SITE = Site(latitude=36.1, longitude=-79.95, timezone="America/New_York")
HEADER = "time,what,value,who\n"


def parsed(text: str | bytes) -> Logbook:
    content = text if isinstance(text, bytes) else text.encode()
    return parse_logbook(content, Path("log.csv"), SITE)


def moment(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text).astimezone(dt.UTC)


def test_a_reading_of_the_bank_a_machine_and_a_note() -> None:
    log = parsed(
        f"{HEADER}2027-06-08T12:30-04:00,bank,62,Ann\n"
        "2027-06-08T12:31-04:00,platform cart,40,Ann\n"
        '2027-06-08T12:32-04:00,note,"a breaker, the left one, was off",\n'
    )
    bank, cart, note = log.readings
    assert log.problems == ()
    assert (bank.what, bank.value_pct, bank.who, bank.line) == ("bank", 62.0, "Ann", 2)
    assert bank.time == dt.datetime(2027, 6, 8, 16, 30, tzinfo=dt.UTC)
    assert (cart.what, cart.machine, cart.value_pct) == ("machine", "platform cart", 40.0)
    assert (note.what, note.value_pct, note.text) == ("note", None, "a breaker, the left one, was off")


@pytest.mark.parametrize(
    ("cell", "day_first"),
    [
        ("2027-06-08T12:30-04:00", None),
        ("2027-06-08 12:30", None),
        ("2027-06-08 12:30:00", None),
        ("2027-06-08T16:30Z", None),
        ("08.06.2027 12:30", None),
        ("8.6.27 12:30", None),
        ("8.6.2027 12.30", None),
        ("08/06/2027 12:30:00", True),
        ("6/8/2027 12:30 PM", False),
        ("06/08/27, 12:30 p.m.", False),
        ("8-6-2027 12:30", True),
        ("2027/06/08 12:30", None),
    ],
)
def test_times_of_common_locales_are_the_same_moment(cell: str, day_first: bool | None) -> None:
    assert parse_time(cell, SITE.zone, day_first) == dt.datetime(2027, 6, 8, 16, 30, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        ("12:30", "wanted a date and time"),
        ("2027-06-08", "wanted a date and time"),
        ("yesterday noon", "wanted a date and time"),
        ("31.6.2027 12:30", "no such day"),
        ("8.6.2027 13:30 PM", "wanted a date and time"),
        ("8.6.2027 24:30", "wanted a date and time"),
        ("8.6.2027 12:61", "wanted a date and time"),
        ("1927-06-08 12:30", "a year from 2000"),
        ("6/8/2027 12:30", "day or month first?"),
        ("46181,52", "wanted a date and time"),
    ],
)
def test_what_is_no_time_is_told(cell: str, told: str) -> None:
    with pytest.raises(ValueError, match=told.replace("?", r"\?")):
        parse_time(cell, SITE.zone, None)


def test_midnight_and_noon_are_told_apart_on_a_clock_of_twelve_hours() -> None:
    assert parse_time("6/8/2027 12:05 AM", SITE.zone, False) == moment("2027-06-08T00:05-04:00")
    assert parse_time("6/8/2027 12:05 PM", SITE.zone, False) == moment("2027-06-08T12:05-04:00")


def test_one_date_shows_whether_all_have_the_day_first() -> None:
    assert is_day_first(["6/8/2027 9:00", "13/6/2027 9:00"]) is True
    assert is_day_first(["6/8/2027 9:00", "6/13/2027 9:00"]) is False
    assert is_day_first(["6/8/2027 9:00"]) is None
    assert is_day_first(["13/6/2027 9:00", "6/13/2027 9:00"]) is None
    log = parsed(f"{HEADER}6/8/2027 9:00,bank,50,\n6/13/2027 9:00,bank,60,\n")
    assert [reading.time.day for reading in log.readings] == [8, 13]


def test_dates_that_can_be_read_in_two_ways_are_told_not_guessed() -> None:
    log = parsed(f"{HEADER}6/8/2027 9:00,bank,50,\n6/6/2027 9:00,bank,60,\n")
    assert [reading.value_pct for reading in log.readings] == [60.0]
    assert log.problems[0].startswith('line 2: "6/8/2027 9:00": day or month first?')


@pytest.mark.parametrize(
    ("cell", "pct"), [("62", 62), ("62 %", 62), ("62%", 62), ("62,5", 62.5), ("104", 100), ("0", 0)]
)
def test_values_as_people_and_spreadsheets_write_them(cell: str, pct: float) -> None:
    assert parse_value_pct(cell) == pct


@pytest.mark.parametrize("cell", ["", "full", "-1", "121", "nan", "inf"])
def test_values_that_cannot_be_are_told(cell: str) -> None:
    with pytest.raises(ValueError, match="wanted"):
        parse_value_pct(cell)


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_a_spreadsheets_separators_line_ends_and_byte_order_mark(
    delimiter: str, line_end: str, mark: bytes
) -> None:
    lines = ["Time,What,Value,Who", "08.06.2027 12:30,bank,62,Ann", ",,,", "08.06.2027 17:00,bank,70,", ""]
    log = parsed(mark + line_end.join(lines).replace(",", delimiter).encode())
    assert [(reading.value_pct, reading.who) for reading in log.readings] == [(62.0, "Ann"), (70.0, "")]
    assert log.problems == ()
    assert log.layout is not None
    assert log.layout.delimiter == delimiter


def test_columns_in_another_order_with_one_of_ones_own() -> None:
    log = parsed("who;place;value;what;time\nAnn;door;62,5;bank;08.06.2027 12:30\n")
    assert [(reading.value_pct, reading.who) for reading in log.readings] == [(62.5, "Ann")]


def test_without_a_header_the_columns_are_the_usual_ones() -> None:
    log = parsed("2027-06-08 12:30,bank,62,Ann\n")
    assert log.layout is None
    assert [reading.value_pct for reading in log.readings] == [62.0]


def test_a_line_cut_off_before_its_value_ended_is_not_used() -> None:
    whole = f"{HEADER}2027-06-08T12:30-04:00,bank,62,Ann\n"
    last = '2027-06-08T17:00-04:00,note,"a long, long tale",Bea\n'
    for length in range(1, len(last)):
        log = parsed(whole + last[:length])
        assert log.cut_off
        assert log.readings[0].value_pct == 62.0
        if len(log.readings) == 1:
            assert log.problems[0].startswith("line 3: cut off")
        else:
            assert log.readings[1].text == "a long, long tale"
        healed = parsed(whole + last[:length] + "\n2027-06-09T07:00-04:00,bank,48,\n")
        assert [reading.value_pct for reading in healed.of_bank] == [62.0, 48.0]


def test_half_a_figure_is_never_taken_for_a_reading() -> None:
    log = parsed(f"{HEADER}2027-06-08T12:30-04:00,bank,6\n2027-06-08T12:30-04:00,bank,62,\n")
    assert [reading.value_pct for reading in log.readings] == [62.0]
    assert "line 2: cut off" in log.problems[0]


def test_zeros_where_a_power_cut_took_the_text_are_told() -> None:
    log = parsed(f"{HEADER}2027-06-08T12:30-04:00,bank,62,\n".encode() + b"\x00" * 30)
    assert [reading.value_pct for reading in log.readings] == [62.0]
    assert log.problems == ("line 3: cut off, as by a power cut",)


def test_an_open_quote_takes_only_its_own_line() -> None:
    log = parsed(f'{HEADER}2027-06-08T12:30-04:00,note,"so,\n2027-06-08T12:40-04:00,bank,62,\n')
    assert [reading.line for reading in log.readings] == [3]


def test_a_decimal_comma_between_commas_is_told() -> None:
    log = parsed(f"{HEADER}2027-06-08T12:30-04:00,bank,62,5,Ann\n")
    assert not log.readings
    assert "5 cells under 4 columns" in log.problems[0]


@pytest.mark.parametrize(("delimiter", "named"), [(";", "semicolon"), ("\t", "tab")])
def test_a_line_of_too_many_cells_is_told_by_what_parts_its_cells(delimiter: str, named: str) -> None:
    lines = f"{HEADER}2027-06-08 12:30,note,so and so,Ann,more\n".replace(",", delimiter)
    (told,) = parsed(lines).problems
    assert told.endswith(f"; put text with a {named} in double quotes")
    assert "62.5" not in told  # a decimal comma is right there


def test_text_of_an_older_spreadsheet_is_read() -> None:
    log = parsed(HEADER.encode() + "2027-06-08 12:30,Mäher,62,Ann\n".encode("cp1252"))
    assert log.readings[0].machine == "Mäher"


@pytest.mark.parametrize("start", [b"\xff\xfet\x00", b"PK\x03\x04"])
def test_a_file_that_is_no_csv_is_refused_with_what_to_do(start: bytes) -> None:
    with pytest.raises(LogbookError, match="save it from the spreadsheet as CSV, UTF-8"):
        parsed(start)


def test_a_reading_is_withdrawn_by_a_line_that_repeats_it() -> None:
    log = parsed(
        f"{HEADER}2027-06-08T12:30-04:00,bank,62,Ann\n2027-06-08T12:30-04:00,bank,62,Bea\n"
        "2027-06-08T12:30-04:00,withdrawn: bank,62,Bea\n"
    )
    assert [reading.withdrawn for reading in log.readings] == [False, True]
    assert [reading.who for reading in log.of_bank] == ["Ann"]
    assert log.problems == ()


def test_a_withdrawal_finds_its_reading_though_a_spreadsheet_wrote_both_anew() -> None:
    log = parsed("time;what;value;who\n08.06.2027 12:30;bank;62,0;\n08.06.2027 12:30;withdrawn: bank;62;\n")
    assert log.readings[0].withdrawn
    assert log.standing == ()


def test_a_withdrawal_of_what_is_not_there_is_told_and_takes_nothing() -> None:
    log = parsed(f"{HEADER}2027-06-08T12:30-04:00,bank,62,\n2027-06-08T12:30-04:00,withdrawn: bank,61,\n")
    assert not log.readings[0].withdrawn
    assert log.problems[0].startswith("line 3: withdraws what is not there: bank")


def test_a_withdrawal_finds_its_reading_wherever_a_spreadsheet_sorted_it() -> None:
    lines = [
        "2027-06-08T17:00-04:00,bank,70,",
        "2027-06-08T12:30-04:00,withdrawn: bank,26,",
        "2027-06-08T12:30-04:00,bank,26,",
        "2027-06-08T07:00-04:00,bank,50,",
    ]
    log = parsed(HEADER + "".join(f"{line}\n" for line in lines))
    assert log.problems == ()
    assert [reading.value_pct for reading in log.of_bank] == [50.0, 70.0]


def test_a_withdrawal_takes_what_stands_before_it_rather_than_what_was_noted_anew() -> None:
    gone = "2027-06-08T12:30-04:00,withdrawn: bank,62,\n"
    log = parsed(f"{HEADER}2027-06-08T12:30-04:00,bank,62,Ann\n{gone}2027-06-08T12:30-04:00,bank,62,Bea\n")
    assert [reading.who for reading in log.of_bank] == ["Bea"]
    none = parsed(f"{HEADER}2027-06-08T12:30-04:00,bank,62,Ann\n{gone}{gone}")
    assert none.problems[0].startswith("line 4: withdraws what is not there")


@pytest.mark.parametrize(
    ("hours", "last"),
    [
        ((7, 12, 17), 17),
        ((7, 12, 17, 9), 9),  # noted later of an earlier hour
        ((12, 7), 7),
        ((17, 12, 7), 17),  # newest first
        ((17, 12, 12, 7), 17),
        ((17, 12, 9, 7, 18), 18),
        ((), None),
    ],
)
def test_what_was_written_last_is_the_last_line_unless_the_file_was_sorted_newest_first(
    hours: tuple[int, ...], last: int | None
) -> None:
    log = parsed(HEADER + "".join(f"2027-06-08 {hour:02d}:00,bank,50,\n" for hour in hours))
    written = log.last_written
    assert (written and written.time.astimezone(SITE.zone).hour) == last


def test_readings_come_in_the_order_of_their_time_the_later_line_later() -> None:
    log = parsed(
        f"{HEADER}2027-06-08T12:30-04:00,bank,62,\n2027-06-08T07:00-04:00,bank,50,\n"
        "2027-06-08T12:30-04:00,bank,63,\n2027-06-08T09:00-04:00,cart,10,\n"
    )
    assert [reading.value_pct for reading in log.of_bank] == [50.0, 62.0, 63.0]
    assert [reading.value_pct for reading in log.of_machine("cart")] == [10.0]


def test_a_logbook_lies_beside_its_fleet_file_and_may_not_be_there_yet(tmp_path: Path) -> None:
    path = logbook_path(tmp_path / "field-edge.toml")
    assert path == tmp_path / "field-edge-logbook.csv"
    assert read_logbook(path, SITE) == Logbook(path)
    path.mkdir()
    with pytest.raises(LogbookError, match="check its permissions"):
        read_logbook(path, SITE)
