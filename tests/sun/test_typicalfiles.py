from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from scheduler.errors import WeatherFileError
from scheduler.sun.skies import sun_path
from scheduler.sun.typicalyear import TypicalYear
from scheduler.sun.weather import read_weather
from scheduler.yard.models import Site

SLIM = Path(__file__).parents[2] / "forecasts" / "greensboro-tmy3.csv"
STORE = Site(latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="America/New_York")
KOLKATA = Site(latitude=22.57, longitude=88.36, timezone="Asia/Kolkata")


def read_year(path: Path, site: Site = STORE) -> TypicalYear:
    year = read_weather(path, site)
    assert isinstance(year, TypicalYear)
    return year


def refusal(path: Path) -> str:
    with pytest.raises(WeatherFileError) as caught:
        read_weather(path, STORE)
    return str(caught.value)


@pytest.fixture(scope="module")
def greensboro() -> TypicalYear:
    return read_year(SLIM)


def test_the_slim_copy_holds_what_the_published_file_holds(greensboro):
    import pvlib

    full = read_year(Path(pvlib.__file__).parent / "data" / "723170TYA.CSV")
    pd.testing.assert_frame_equal(greensboro.table, full.table)
    assert greensboro.utc_offset_h == -5.0
    assert greensboro.distance_km == 0.0


def test_the_first_row_is_the_hour_from_local_standard_midnight(greensboro):
    assert greensboro.by_start_utc().index[0] == pd.Timestamp("2001-01-01T05:00Z")
    assert greensboro.by_start_utc().index[-1] == pd.Timestamp("2002-01-01T04:00Z")


def test_a_station_far_away_is_told():
    far = STORE.model_copy(update={"latitude": 40.0})
    # A degree of latitude is 111.2 km.
    assert read_year(SLIM, far).distance_km == pytest.approx(3.9 * 111.2, rel=0.001)
    assert "434 km from the yard" in " ".join(read_year(SLIM, far).notes)
    assert "km from" not in " ".join(read_year(SLIM).notes)


def epw_text(year: TypicalYear, *, leap_day: bool = False, utc_offset_h: float = -5.0) -> str:
    """The same hours in the EPW layout: hours 1 to 24 name the hours by their ends."""
    lines = [f"LOCATION,Greensboro,NC,USA,TMY3,723170,36.1,-79.95,{utc_offset_h},273.0", *["HEADER"] * 7]
    stamps = pd.date_range("2001-01-01", periods=len(year.table), freq="h")
    for stamp, row in zip(stamps, year.table.itertuples(), strict=True):
        cells = ["0"] * 35
        cells[:6] = [str(stamp.year), str(stamp.month), str(stamp.day), str(stamp.hour + 1), "60", "?"]
        cells[6], cells[8], cells[21] = str(row.temp_c), str(row.rh_pct), str(row.wind_m_s)
        cells[13:16] = [str(row.ghi_w_m2), str(row.dni_w_m2), str(row.dhi_w_m2)]
        lines.append(",".join(cells))
        if leap_day and (stamp.month, stamp.day) == (2, 28):
            lines.append(",".join(["2004", "2", "29", *cells[3:13], "1", *cells[14:]]))
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("leap_day", [False, True])
def test_an_epw_file_of_the_same_hours_is_the_same_year(greensboro, tmp_path, leap_day):
    path = tmp_path / "g.epw"
    text = epw_text(greensboro, leap_day=leap_day)
    if leap_day:
        head, rows = text.splitlines()[:8], text.splitlines()[8:]
        rows.sort(key=lambda row: [int(cell) for cell in row.split(",")[1:4]])
        text = "\n".join([*head, *rows])
    path.write_text(text)
    pd.testing.assert_frame_equal(read_year(path).table, greensboro.table)
    assert read_year(path).source == "typical year Greensboro (EPW)"


def test_a_half_hour_zone_of_a_typical_year_is_kept(greensboro, tmp_path):
    path = tmp_path / "g.epw"
    path.write_text(epw_text(greensboro, utc_offset_h=5.5))
    assert read_year(path).by_start_utc().index[0] == pd.Timestamp("2000-12-31T18:30Z")


def pvgis_samples(site: Site, sampled_h: float) -> pd.DataFrame:
    """A year of samples under an unchanging sky, 600 W/m2 direct and 100 diffuse, as PVGIS stamps them."""
    stamps = pd.date_range("2015-01-01", periods=8760, freq="h", tz="UTC")
    sun = sun_path(site, stamps + pd.Timedelta(hours=sampled_h))
    height = np.maximum(np.cos(np.radians(sun.zenith_deg)), 0.0)
    up = height > 0.0
    columns = {"time(UTC)": stamps.strftime("%Y%m%d:%H%M"), "T2m": 10.0, "RH": 50.0}
    radiation = {"G(h)": np.where(up, 600.0 * height + 100.0, 0.0), "Gb(n)": 600.0 * up, "Gd(h)": 100.0 * up}
    return pd.DataFrame({**columns, **radiation, "IR(h)": 300.0, "WS10m": 2.0, "WD10m": 90.0, "SP": 101325.0})


def pvgis_json(site: Site, sampled_h: float) -> str:
    location = {"latitude": site.latitude, "longitude": site.longitude, "irradiance_time_offset": sampled_h}
    outputs = {"months_selected": [], "tmy_hourly": pvgis_samples(site, sampled_h).to_dict("records")}
    return json.dumps({"inputs": {"location": location}, "outputs": outputs, "meta": {"inputs": {}}})


def pvgis_csv(site: Site, sampled_h: float) -> str:
    head = [f"Latitude (decimal degrees): {site.latitude}", f"Longitude (decimal degrees): {site.longitude}"]
    head += ["Elevation (m): 10.0", f"Irradiance Time Offset (h): {sampled_h}", "month,year"]
    head += [f"{month},2015" for month in range(1, 13)]
    rows = pvgis_samples(site, sampled_h).to_csv(index=False)
    return "\n".join(head) + f"\n{rows}\nT2m: 2-m air temperature\n"


def closure_rms_w_m2(year: TypicalYear, site: Site, after_start_min: float) -> float:
    table = year.by_start_utc()
    sun = sun_path(site, pd.DatetimeIndex(table.index) + pd.Timedelta(minutes=after_start_min))
    height = np.maximum(np.cos(np.radians(sun.zenith_deg)), 0.0)
    by_day = (table["dhi_w_m2"] == 100.0).to_numpy()
    missed = (table["dni_w_m2"] * height + table["dhi_w_m2"] - table["ghi_w_m2"]).to_numpy()[by_day]
    return float(np.sqrt((missed**2).mean()))


@pytest.mark.parametrize(("site", "sampled_h"), [(STORE, 0.0), (KOLKATA, 0.17), (KOLKATA, 0.5), (STORE, 0.8)])
def test_pvgis_samples_become_means_of_whole_hours(tmp_path, site, sampled_h):
    path = tmp_path / "tmy.json"
    path.write_text(pvgis_json(site, sampled_h))
    year = read_year(path, site)
    assert closure_rms_w_m2(year, site, 30.0) < 4.0
    assert closure_rms_w_m2(year, site, 0.0) > 25.0
    assert closure_rms_w_m2(year, site, 60.0) > 25.0


def test_pvgis_as_csv_and_as_json_are_the_same_year(tmp_path):
    (tmp_path / "tmy.json").write_text(pvgis_json(KOLKATA, 0.17))
    (tmp_path / "tmy.csv").write_text(pvgis_csv(KOLKATA, 0.17))
    by_csv, by_json = read_year(tmp_path / "tmy.csv", KOLKATA), read_year(tmp_path / "tmy.json", KOLKATA)
    pd.testing.assert_frame_equal(by_csv.table, by_json.table)
    assert by_csv.source == "typical year 22.57, 88.36 (PVGIS csv)"


def test_days_of_a_pvgis_year_are_the_suns_own(tmp_path):
    path = tmp_path / "tmy.json"
    path.write_text(pvgis_json(KOLKATA, 0.17))
    year = read_year(path, KOLKATA)
    assert year.utc_offset_h == 6.0
    by_hour = year.table["ghi_w_m2"].to_numpy().reshape(365, 24).mean(axis=0)
    assert by_hour[[0, 1, 2, 3, 20, 21, 22, 23]].max() == 0.0
    # Noon of the sun at 88.36 E on the clock of 90 E: six and a half minutes late on the year's mean.
    assert np.average(np.arange(24) + 0.5, weights=by_hour) == pytest.approx(12.0 + 6.5 / 60.0, abs=0.02)


def test_a_year_cut_off_is_refused(tmp_path):
    path = tmp_path / "g.csv"
    path.write_text("\n".join(SLIM.read_text().splitlines()[:5000]))
    assert "wanted 8760 hours in order, found 4998; is the file cut off, or a line of it lost?" in refusal(path)


def test_a_year_with_an_hour_out_of_place_is_refused(tmp_path):
    lines = SLIM.read_text().splitlines()
    lines[100], lines[101] = lines[101], lines[100]
    path = tmp_path / "g.csv"
    path.write_text("\n".join(lines))
    assert "wanted 8760 hours in order" in refusal(path)


def test_a_mark_for_a_missing_value_is_refused_with_its_hour(tmp_path):
    lines = SLIM.read_text().splitlines()
    cells = lines[2 + 24 * 31 + 12].split(",")
    cells[4], cells[8] = "-9900", "-9900"
    lines[2 + 24 * 31 + 12] = ",".join(cells)
    path = tmp_path / "g.csv"
    path.write_text("\n".join(lines))
    told = refusal(path)
    assert "ghi_w_m2 is -9900 in the hour from 01 Feb 12:00 (1 such hours); wanted 0 to 1500" in told
    assert "temp_c is -9900 in the hour from 01 Feb 12:00" in told


def test_humidity_is_read_and_follows_the_likely_days(greensboro):
    assert greensboro.table["rh_pct"].mean() == pytest.approx(69.52, abs=0.005)
    day = dt.datetime(2027, 6, 8, 5, tzinfo=dt.UTC)
    assert greensboro.hours(day, day + dt.timedelta(hours=3))["rh_pct"].between(0.0, 100.0).all()


def test_a_year_with_a_mark_for_missing_humidity_serves_without_it(tmp_path):
    lines = SLIM.read_text().splitlines()
    column = lines[1].split(",").index("RHum (%)")
    cells = lines[700].split(",")
    cells[column] = "-9900"
    lines[700] = ",".join(cells)
    path = tmp_path / "g.csv"
    path.write_text("\n".join(lines))
    assert "rh_pct" not in read_year(path).table
    assert read_year(path).table["ghi_w_m2"].sum() > 0.0


@pytest.mark.parametrize("spoil", [(",GHI (W/m^2)", ",GHX"), ("-79.950", "west"), ("01/01/1988", "first")])
def test_a_year_that_only_looks_like_one_is_refused_in_words(tmp_path, spoil):
    path = tmp_path / "g.csv"
    path.write_text(SLIM.read_text().replace(*spoil, 1))
    assert "looks like a typical year (TMY3) but cannot be read as one" in refusal(path)
