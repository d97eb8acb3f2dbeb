from __future__ import annotations

from pathlib import Path

import pytest

from scheduler.errors import WeatherFileError
from scheduler.sun import weather
from scheduler.sun.forecast import Forecast
from scheduler.sun.typicalyear import TypicalYear
from scheduler.sun.weather import LARGEST_FILE_BYTES, read_weather
from scheduler.yard.models import Site

FORECASTS = Path(__file__).parents[2] / "forecasts"
STORE = Site(latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="America/New_York")
FORECAST = "time,ghi_w_m2\n2027-06-09T12:00,800\n"


def refusal(path: Path) -> str:
    with pytest.raises(WeatherFileError) as caught:
        read_weather(path, STORE)
    assert caught.value.exit_code == 3
    return str(caught.value)


def test_what_is_in_the_file_decides_and_not_its_name(tmp_path):
    year = tmp_path / "forecast.txt"
    year.write_bytes((FORECASTS / "greensboro-tmy3.csv").read_bytes())
    forecast = tmp_path / "year.epw"
    forecast.write_text(FORECAST)
    assert isinstance(read_weather(year, STORE), TypicalYear)
    assert isinstance(read_weather(forecast, STORE), Forecast)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252"])
def test_a_spreadsheets_encodings_are_read(tmp_path, encoding):
    path = tmp_path / "f.csv"
    path.write_bytes(FORECAST.replace("\n", "\r\n").encode(encoding))
    assert read_weather(path, STORE).begins is not None


def test_an_old_code_page_is_told_by_its_column_not_by_a_crash(tmp_path):
    path = tmp_path / "f.csv"
    path.write_bytes("time,ghi_w_m2,temp_°c\n2027-06-09T12:00,800,20\n".encode("cp1252"))
    assert "unknown column 'temp_°c'; did you mean temp_c?" in refusal(path)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "empty"),
        (b" \n\r\n", "empty"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "not a text file"),
        (b"PK\x03\x04\x14\x00\x06\x00", "not a text file"),
        (FORECAST.encode("utf-16"), "UTF-16"),
        (bytes(range(1, 256)), "no column time"),
        (b'{"outputs": {}}', "looks like a typical year (PVGIS json)"),
        (b"[1, 2", "no column time"),
    ],
)
def test_a_file_that_is_no_weather_is_refused_in_words(tmp_path, content, told):
    path = tmp_path / "f.csv"
    path.write_bytes(content)
    assert told in refusal(path)
    assert str(path) in refusal(path)


def test_a_file_that_is_not_there_is_refused_in_words(tmp_path):
    assert "cannot be read" in refusal(tmp_path / "none.csv")
    assert "cannot be read" in refusal(tmp_path)


def test_a_file_far_too_large_is_refused_unread(tmp_path, monkeypatch):
    path = tmp_path / "f.csv"
    with path.open("wb") as file:
        file.truncate(LARGEST_FILE_BYTES + 1)
    monkeypatch.setattr(Path, "read_bytes", lambda _: pytest.fail("read all the same"))
    assert "20 MB is no weather file" in refusal(path)


def test_a_file_of_the_largest_size_is_still_read(tmp_path, monkeypatch):
    path = tmp_path / "f.csv"
    path.write_text(FORECAST)
    monkeypatch.setattr(weather, "LARGEST_FILE_BYTES", len(FORECAST))
    assert read_weather(path, STORE).begins is not None


def test_the_demonstration_files_are_read_without_complaint():
    forecast = read_weather(FORECASTS / "field-edge-three-days.csv", STORE)
    year = read_weather(FORECASTS / "greensboro-tmy3.csv", STORE)
    assert forecast.notes == ()
    assert forecast.begins is not None
    assert forecast.ends is not None
    assert (forecast.ends - forecast.begins).total_seconds() == 72 * 3600
    assert year.begins is year.ends is None
    assert year.source == "typical year 723170 (TMY3)"
