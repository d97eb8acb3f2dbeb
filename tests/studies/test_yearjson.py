"""A year for other programs."""

from __future__ import annotations

import csv
import io
import json

from scheduler.studies.yearjson import render_days_csv, render_year_json
from scheduler.studies.yearrecord import NeedLived
from tests.studies.made_years import study, two_weeks, year_of


def test_the_json_says_what_the_year_was() -> None:
    told = json.loads(render_year_json(study()))
    assert told["format"] == "sunroster.year/1"
    assert told["readiness"]["must"]["ready"] == 12
    assert told["readiness"]["must"]["resampled_pct"] == [100 * 12 / 14] * 2
    assert [machine["name"] for machine in told["machines"]] == ["cart", "mower [bold]"]
    assert [month["month"] for month in told["months"]] == [1, 2]
    assert sum(month["must"]["asked"] for month in told["months"]) == 14
    assert told["energy"]["sun_wh"] == 14 * 3000.0
    assert told["energy"]["house_wh"] == {"fridge": 14 * 900.0}
    assert abs(told["energy"]["residual_wh"]) < 1e-6
    assert told["rules_of_thumb"][0]["name"] == "all in turn"
    assert told["worst_week"]["first"] == "2027-01-26"
    assert (told["days_asked"], told["days_lived"], len(told["days"])) == (14, 14, 14)


def test_without_resampled_years_no_interval_is_claimed() -> None:
    told = json.loads(render_year_json(study(resampled=())))
    assert "resampled_pct" not in told["readiness"]["must"]
    assert told["resampled"]["years"] == 0


def test_no_time_it_took_stands_in_the_json() -> None:
    assert "planning_s" not in render_year_json(study())


def test_a_day_in_the_json_has_every_figure_of_the_day() -> None:
    told = json.loads(render_year_json(study()))["days"][1]
    day = two_weeks().days[1]
    assert told["date"] == "2027-01-26"
    assert told["sun_wh"] == day.sun_wh
    assert [NeedLived(**need) for need in told["needs"]] == list(day.needs)


def test_the_table_has_a_row_a_day_and_names_who_was_not_ready() -> None:
    rows = list(csv.DictReader(io.StringIO(render_days_csv(two_weeks()))))
    assert len(rows) == 14
    assert rows[1]["date"] == "2027-01-26"
    assert rows[1]["not_ready"] == "cart"
    assert (rows[1]["must_ready"], rows[1]["must_asked"], rows[1]["short_wh"]) == ("0", "1", "120")
    assert float(rows[0]["sun_wh"]) == 3000.0
    assert list(csv.DictReader(io.StringIO(render_days_csv(year_of())))) == []
