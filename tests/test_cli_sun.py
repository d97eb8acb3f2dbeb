"""``sunroster sun``: each source of the sun, and what it says that it stands on."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from scheduler.cli.app import app
from tests.cli_yard import FLEET, FORECAST, ROOT, START

TYPICAL = ROOT / "forecasts" / "greensboro-tmy3.csv"


@pytest.fixture
def fleet(tmp_path: Path) -> Path:
    file = tmp_path / "yard.toml"
    file.write_text(FLEET, encoding="utf-8")
    return file


def run(*arguments: object) -> Result:
    return CliRunner(env={"COLUMNS": "80"}).invoke(app, ["sun", *map(str, arguments)])


def cloud_forecast(folder: Path, header: str, row: str) -> Path:
    file = folder / "f.csv"
    rows = [f"2027-06-{day:02}T{hour:02}:00-04:00,{row}" for day in (9, 10) for hour in range(24)]
    file.write_text("\n".join([f"time,{header}", *rows]), encoding="utf-8")
    return file


def likely_kwh(result: Result, day: str) -> float:
    row = next(line for line in result.stdout.splitlines() if line.startswith(day))
    return float(row.removeprefix(day).split()[1])


def test_a_forecast_with_its_spread_shows_its_days(fleet: Path) -> None:
    result = run(fleet, "--weather", FORECAST)
    assert result.exit_code == 0, result.stderr
    assert result.stdout.startswith("The likely sun brings ")
    assert "Sun: forecast file\nfield-edge-three-days.csv." in result.stdout
    assert [line[:10] for line in result.stdout.splitlines()].count("Thu 10 Jun") == 3
    assert max(map(len, result.stdout.splitlines())) <= 80


def test_a_forecast_without_a_spread_says_where_dull_and_bright_are_from(fleet: Path, tmp_path: Path) -> None:
    file = cloud_forecast(tmp_path, "cloud_pct,temp_c", "50,20")
    result = run(fleet, "--weather", file)
    told = " ".join(result.stdout.split())
    assert "how far days stray from forecasts" in told
    assert "what such a cover usually leaves" in told


def test_words_say_what_was_said_and_make_the_day(fleet: Path) -> None:
    fair, overcast = (
        run(fleet, "--from", "2027-06-08 16:00", "--sky", f"tomorrow: {word}", "--weather", TYPICAL)
        for word in ("fair", "overcast")
    )
    assert "sky by hand (tomorrow: fair), the rest typical year" in " ".join(fair.stdout.split())
    assert likely_kwh(fair, "Wed 9 Jun") > 2.0 * likely_kwh(overcast, "Wed 9 Jun")
    assert likely_kwh(fair, "Thu 10 Jun") == likely_kwh(overcast, "Thu 10 Jun")


def test_a_typical_year_stands_in_where_nothing_is_said(fleet: Path) -> None:
    result = run(fleet, "--from", START, "--weather", TYPICAL)
    assert "typical year 723170 (TMY3), days around 8 June" in " ".join(result.stdout.split())


def test_without_any_weather_the_sun_is_a_poor_guess_and_said_to_be(fleet: Path) -> None:
    result = run(fleet, "--from", START, "--days", 2)
    assert result.exit_code == 0, result.stderr
    told = " ".join(result.stdout.split())
    assert "a poor guess from 36 degrees of latitude" in told
    assert "Tue 8 Jun from 16:00" in told
    assert 4.0 < likely_kwh(result, "Wed 9 Jun") < 9.0  # 1.6 kW in June: 3 to 5 hours of full sun


def test_days_are_counted_with_the_first_and_end_with_the_forecast(fleet: Path) -> None:
    two = run(fleet, "--weather", FORECAST, "--days", 2)
    assert [line[:10] for line in two.stdout.splitlines()].count("Thu 10 Jun") == 0
    five = run(fleet, "--weather", FORECAST, "--days", 5)
    assert "the forecast ends fri 00:00" in " ".join(five.stdout.lower().split())


def test_a_chart_is_written_beside(fleet: Path, tmp_path: Path) -> None:
    chart = tmp_path / "sun.svg"
    result = run(fleet, "--weather", FORECAST, "--chart", chart)
    assert chart.read_bytes().startswith(b"<?xml")
    assert f"written: {chart}" in result.stderr


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (("--sky", "tomorrow: fare"), 2, 'did you mean "fair"'),
        (("--weather", FORECAST, "--sky", "tomorrow: fair"), 2, "leave one of them out"),
        (("--weather", FORECAST, "--from", "2027-06-07 12:00"), 2, "the outlook would begin at"),
        (("--weather", FORECAST, "--from", "2027-07-07 12:00"), 3, "the forecast covers"),
        (("--chart", "sun.pdf"), 2, "wanted a name that ends in .png or .svg"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_shown(
    fleet: Path, arguments: tuple, code: int, told: str
) -> None:
    result = run(fleet, *arguments)
    assert result.exit_code == code
    assert told in result.stderr
    assert result.stdout == ""


@pytest.mark.parametrize("sky", [None, "tomorrow am: fair, pm: overcast"])
def test_plan_works_without_any_forecast_and_says_what_it_stands_on(fleet: Path, sky: str | None) -> None:
    words = [] if sky is None else ["--sky", sky]
    result = CliRunner(env={"COLUMNS": "80"}).invoke(app, ["plan", str(fleet), "--from", START, *words])
    assert result.exit_code == 0, result.stderr
    told = " ".join(result.stdout.split())
    assert "a poor guess from 36 degrees of latitude and the season alone" in told
    assert ("sky by hand (tomorrow am: fair, pm: overcast)" in told) == (sky is not None)
