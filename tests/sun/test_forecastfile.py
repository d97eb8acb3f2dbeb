from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from scheduler.errors import WeatherFileError
from scheduler.sun import forecastfile
from scheduler.sun.forecast import Forecast
from scheduler.sun.forecastfile import SHOWN_PROBLEMS, read_forecast
from scheduler.yard.models import Site

NOON = "2027-06-09T12:00-04:00"
FILE = Path("forecast.csv")
STORE = Site(latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="America/New_York")
KOLKATA = Site(latitude=22.57, longitude=88.36, timezone="Asia/Kolkata")

GOOD = """time,ghi_w_m2,temp_c
2027-06-09T11:00-04:00,700,22
2027-06-09T12:00-04:00,800,23
2027-06-09T13:00-04:00,780,24
"""


def read(text: str, site: Site = STORE) -> Forecast:
    return read_forecast(FILE, text, site)


def problems(text: str, site: Site = STORE) -> tuple[str, ...]:
    with pytest.raises(WeatherFileError) as caught:
        read(text, site)
    return caught.value.problems


def only_problem(text: str, site: Site = STORE) -> str:
    found = problems(text, site)
    assert len(found) == 1, found
    return found[0]


def hours_at(*clocks: str, value: str = "300") -> str:
    return "\n".join(["time,ghi_w_m2", *(f"2027-{clock},{value}" for clock in clocks)])


def spread(values: str) -> str:
    return f"time,ghi_w_m2,ghi_dull_w_m2,ghi_bright_w_m2\n{NOON},{values}"


# What is accepted


def test_times_with_an_offset_become_starts_in_utc():
    forecast = read(GOOD)
    assert forecast.begins == dt.datetime(2027, 6, 9, 15, tzinfo=dt.UTC)
    assert forecast.ends == dt.datetime(2027, 6, 9, 18, tzinfo=dt.UTC)
    assert list(forecast.table["ghi_w_m2"]) == [700.0, 800.0, 780.0]


def test_times_without_an_offset_are_the_sites():
    assert read(GOOD.replace("-04:00", "")).begins == read(GOOD).begins


def test_offsets_may_differ_from_row_to_row():
    mixed = GOOD.replace("12:00-04:00", "16:00Z").replace("13:00-04:00", "19:00+02:00")
    assert read(mixed).table.equals(read(GOOD).table)


def test_semicolons_come_with_decimal_commas():
    spreadsheet = GOOD.replace(",", ";").replace("700", "700,5")
    assert read(spreadsheet).table["ghi_w_m2"].iloc[0] == 700.5


def test_blank_lines_and_blanks_around_values_do_not_matter():
    assert (
        read(GOOD.replace("800,", " 800 ,").replace("\n2027-06-09T13", "\n\n2027-06-09T13")).ends
        == read(GOOD).ends
    )


@pytest.mark.parametrize("delimiter", [",", ";"])
def test_comment_lines_are_passed_over_wherever_they_stand_and_counted(delimiter):
    above = '# source: a "weather, service", one;two;three\n"# by hand, later:",,\n'
    remarked = above + GOOD.replace("23\n", "23\n # noon\n")
    text = remarked.replace(",", delimiter) if delimiter == ";" else remarked
    assert read(text).table.equals(read(GOOD).table)
    assert only_problem(text.replace("780", "hot")).startswith("row 7: ghi_w_m2: 'hot'")


def test_what_comment_lines_say_can_be_asked_for_by_key():
    text = "# source: a service, https://weather.example/?a=1\n#note:kept\n# a remark\n" + GOOD
    assert forecastfile.comments_of(text) == {
        "source": "a service, https://weather.example/?a=1",
        "note": "kept",
    }


def test_a_file_that_says_who_issued_it_is_named_with_it():
    assert (
        read("# source: county weather office\n" + GOOD).source
        == "forecast file forecast.csv (county weather office)"
    )
    assert read(GOOD).source == "forecast file forecast.csv"
    assert len(read(f"# source: {'x' * 500}\n" + GOOD).source) < 120


def test_hours_of_a_half_hour_zone_keep_their_half_hour():
    forecast = read(hours_at("06-09T11:00", "06-09T12:00"), KOLKATA)
    assert forecast.begins == dt.datetime(2027, 6, 9, 5, 30, tzinfo=dt.UTC)


def test_local_hours_run_on_over_the_night_that_skips_one():
    forecast = read(hours_at("03-14T01:00", "03-14T03:00", value="0"))
    assert forecast.ends - forecast.begins == dt.timedelta(hours=2)


# What is told


COLUMN_MISTAKES = [
    (GOOD.replace("temp_c", "temp_air"), "row 1: unknown column 'temp_air'; did you mean temp_c?"),
    (GOOD.replace("temp_c", "xyzzy"), "row 1: unknown column 'xyzzy'; known are time, ghi_w_m2"),
    (GOOD.replace("temp_c", "ghi_w_m2"), "row 1: column ghi_w_m2 is there 2 times"),
    (GOOD.replace("time", "when", 1), "row 1: unknown column 'when'"),
    (GOOD.replace("time", "temp_c", 1), "row 1: no column time"),
    ("time,temp_c\n2027-06-09T12:00,20", "row 1: neither radiation nor cloud; wanted ghi_w_m2"),
    ("time,dni_w_m2\n2027-06-09T12:00,20", "row 1: neither radiation nor cloud; wanted ghi_w_m2"),
    (GOOD.replace("800,23", "800,23,1"), "row 3: 4 values under 3 columns; decimal commas go with"),
    (GOOD.replace("800,23", "800"), "row 3: 2 values under 3 columns"),
    ("time,ghi_w_m2\n", "there is nothing below the header"),
]

VALUE_MISTAKES = [
    (GOOD.replace("800", ""), "row 3: ghi_w_m2: empty"),
    (GOOD.replace("800", "nan"), "row 3: ghi_w_m2: nan cannot be; wanted 0 to 1500"),
    (GOOD.replace("800", "inf"), "row 3: ghi_w_m2: inf cannot be"),
    (GOOD.replace("800", "sunny"), "row 3: ghi_w_m2: 'sunny' is not a number"),
    (GOOD.replace("800", "-1"), "row 3: ghi_w_m2: -1 cannot be"),
    (GOOD.replace("800", "1501"), "row 3: ghi_w_m2: 1501 cannot be"),
    (GOOD.replace(",24", ",61"), "row 4: temp_c: 61 cannot be; wanted -60 to 60"),
    (GOOD.replace("temp_c", "cloud_pct").replace(",24", ",101"), "row 4: cloud_pct: 101 cannot be"),
    (GOOD.replace("temp_c", "rh_pct").replace(",24", ",101"), "row 4: rh_pct: 101 cannot be"),
    (GOOD.replace("temp_c", "wind_m_s").replace(",24", ",76"), "row 4: wind_m_s: 76 cannot be"),
    (GOOD.replace("temp_c", "dni_w_m2").replace(",24", ",1501"), "row 4: dni_w_m2: 1501 cannot be"),
    (GOOD.replace("temp_c", "dhi_w_m2").replace(",24", ",1501"), "row 4: dhi_w_m2: 1501 cannot be"),
]

TIME_MISTAKES = [
    (GOOD.replace(NOON, "noon"), "row 3: time: 'noon' is not a time"),
    (GOOD.replace(NOON, ""), "row 3: time: '' is not a time"),
    (GOOD.replace(NOON, "6/9/2027 12:00"), "row 3: time: '6/9/2027 12:00' is not a time"),
    (GOOD.replace(NOON, "2027-06-09"), "row 3: time: '2027-06-09' is not a time"),
    (GOOD.replace(NOON, "2027-06-31T12:00"), "row 3: time: '2027-06-31T12:00' is not a time"),
    (hours_at("06-09T11:00", "06-09T13:00"), "row 3: above it the hour 2027-06-09T12:00-04:00 is missing"),
    (
        hours_at("06-09T11:00", "06-09T14:00"),
        "row 3: above it the hour 2027-06-09T12:00-04:00 to 2027-06-09T13:00-04:00 is missing",
    ),
    (hours_at("06-09T11:00", "06-09T11:00"), "row 3: 2027-06-09T11:00-04:00 is already in row 2"),
    (hours_at("06-09T12:00", "06-09T11:00"), "row 3: 2027-06-09T11:00-04:00 is earlier than the row above"),
    (hours_at("06-09T11:00", "06-09T11:30"), "row 3: 2027-06-09T11:30-04:00 is 30 min after the row above"),
    (hours_at("06-09T11:10", "06-09T12:10"), "row 2: 2027-06-09T11:10-04:00 is no full hour"),
    (hours_at("03-14T02:00", value="0"), "row 2: time: 2027-03-14T02:00 is skipped"),
    (hours_at("11-07T01:00", value="0"), "row 2: time: 2027-11-07T01:00 is there twice"),
]

SPREAD_MISTAKES = [
    (spread("780,781,900"), "row 2: ghi_dull_w_m2 781 is above ghi_w_m2 780"),
    (spread("780,500,779"), "row 2: ghi_bright_w_m2 779 is below ghi_w_m2 780"),
    (
        spread("50,300,200").replace("ghi_w_m2", "cloud_pct"),
        "row 2: ghi_dull_w_m2 300 is above ghi_bright_w_m2 200",
    ),
]


@pytest.mark.parametrize(
    ("text", "told"), [*COLUMN_MISTAKES, *VALUE_MISTAKES, *TIME_MISTAKES, *SPREAD_MISTAKES]
)
def test_a_mistake_is_told_with_its_row(text, told):
    assert any(problem.startswith(told) for problem in problems(text)), problems(text)


@pytest.mark.parametrize(
    "text", ["time,ghi_w_m2\n2027-06-09T12:00,x", hours_at("06-09T11:00", "06-09T13:00")]
)
def test_one_mistake_makes_one_message(text):
    only_problem(text)


def test_every_mistake_is_told_in_one_go():
    found = problems(
        GOOD.replace("700", "x").replace(",23", ",").replace("T13", "T15").replace("temp_c", "temp_f")
    )
    assert [problem.partition(":")[0] for problem in found] == ["row 1", "row 2", "row 4"]
    found = problems(GOOD.replace("700", "x").replace(",23", ",").replace("T13", "T15"))
    assert [problem.partition(":")[0] for problem in found] == ["row 2", "row 3", "row 4"]


def test_rows_are_numbered_as_a_spreadsheet_shows_them():
    assert only_problem("\n\n" + GOOD.replace("800", "")).startswith("row 5: ")
    assert only_problem(GOOD.replace("\n2027-06-09T12", "\n\n2027-06-09T12").replace("780", "")).startswith(
        "row 5: "
    )


def test_a_time_that_cannot_be_read_is_not_told_as_a_missing_hour_too():
    assert only_problem(GOOD.replace("2027-06-09T12:00-04:00", "noon")).startswith("row 3: time: 'noon'")


def test_a_long_list_of_mistakes_is_cut_and_counted():
    rows = "\n".join(f"2027-06-{day:02d}T{hour:02d}:00,x" for day in (9, 10) for hour in range(24))
    found = problems("time,ghi_w_m2\n" + rows)
    assert len(found) == SHOWN_PROBLEMS + 1
    assert found[-1] == f"and {48 - SHOWN_PROBLEMS} more"


def test_a_file_of_endless_rows_is_not_read_to_its_end(monkeypatch):
    monkeypatch.setattr(forecastfile, "MOST_ROWS", 3)
    assert problems(GOOD) == ("more than 3 rows; is it the right file?",)
    monkeypatch.setattr(forecastfile, "MOST_ROWS", 4)
    assert read(GOOD).begins


def test_sun_by_night_is_taken_for_a_wrong_offset():
    told = only_problem(GOOD.replace("-04:00", "+05:30"))
    assert told.startswith("row 2 and 2 more: more sun than there is above the atmosphere")


def test_more_sun_than_above_the_atmosphere_is_refused_by_day_too():
    morning = hours_at("06-09T07:00", "06-09T08:00", value="700")
    assert only_problem(morning).startswith("row 2: more sun than there is above the atmosphere")
    assert read(hours_at("06-09T07:00", "06-09T08:00", value="200")).begins


def test_an_hour_shown_twice_is_accepted_with_its_offset():
    forecast = read(hours_at("11-07T01:00-04:00", "11-07T01:00-05:00", value="0"))
    assert forecast.ends - forecast.begins == dt.timedelta(hours=2)
