"""Sound files of every kind that the program reads, from which spoilt ones are made."""

from __future__ import annotations

import datetime as dt
import json
import tempfile
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import pvlib

from scheduler.commands.plan import PlanRequest, plan_yard
from scheduler.planning.planjson import render_plan_json
from scheduler.planning.record import Plan
from scheduler.studies.year import PreparedYear, YearSettings, YearWalk, prepare_year
from scheduler.studies.yearstate import render_state
from scheduler.sun.typicalyear import TypicalYear
from scheduler.sun.weather import read_weather
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Yard
from tests.cli_yard import FLEET, FORECAST, ROOT, START, lay_out
from tests.sun.test_typicalfiles import STORE, epw_text, pvgis_csv, pvgis_json
from tests.sun.weather_service import document

NOW = dt.datetime(2027, 6, 8, 20, 0, tzinfo=dt.UTC)
TMY3 = ROOT / "forecasts" / "greensboro-tmy3.csv"

LOGBOOK = """\
time,what,value,who
2027-06-07T07:05-04:00,bank,62,Ann
2027-06-07T07:06-04:00,cart,40,Ann
2027-06-07T18:10-04:00,bank,88,
2027-06-08T07:00-04:00,bank,71,Bea
2027-06-08T07:01-04:00,note,"left breaker was off, again",Bea
2027-06-08T12:00-04:00,mower,55,
2027-06-08T12:30-04:00,withdrawn: mower,55,Bea
2027-06-08T15:30-04:00,bank,83,Ann
"""
SPREADSHEETS_LOGBOOK = (
    LOGBOOK.replace("2027-06-07T", "07.06.2027 ")
    .replace("2027-06-08T", "08.06.2027 ")
    .replace("-04:00", "")
    .replace(",", ";")
)
AMERICAN_LOGBOOK = "\ufeffwhat\tvalue\ttime\twho\r\n" + "".join(
    f"bank\t{60 + day}\t6/{day}/2027 7:0{day % 10} AM\tAnn\r\n" for day in (1, 13, 7, 8)
)

CLOUDS = "# source: the airfield\n" + "".join(
    f"{line}\n"
    for line in (
        "time;cloud_pct;temp_c",
        *(f"2027-06-{8 + h // 24:02d}T{h % 24:02d}:00;{(h * 7) % 101},5;1{h % 10},25" for h in range(72)),
    )
)
NEWCOMERS = """\
[[machines]]
name = "loader"
battery_v = 48
battery_ah = 100
charger_w = 600
charge_pct = 50
needs = [{ ready_by = 07:00, weekdays = ["mon", "thu"], away_h = 3, charge_pct = 80 }]
"""


@cache
def yard() -> Yard:
    """The yard that stands beside every spoilt file of another kind."""
    return read_yard(fleet_beside())


@cache
def prepared() -> PreparedYear:
    """Three days of its year."""
    year = read_weather(TMY3, yard().site)
    assert isinstance(year, TypicalYear)
    return prepare_year(yard(), year, YearSettings(n_days=3, first_day=dt.date(2027, 5, 3)))


@cache
def _folder() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="originals-"))
    lay_out(folder)
    return folder


def fleet_beside() -> Path:
    """The fleet file of `yard`."""
    return _folder() / "yard.toml"


@cache
def plan_beside() -> Plan:
    """A plan of `yard`."""
    request = PlanRequest(fleet_beside(), NOW, weather=_folder() / "sky.csv", start=START)
    return plan_yard(yard(), request, lambda *_: None)


def _state() -> bytes:
    walk = YearWalk.begun(prepared())
    while not walk.is_done:
        walk.go_on()
    return render_state(prepared(), walk.bookmark(), ())


@cache
def originals() -> Mapping[str, tuple[bytes, ...]]:
    """By kind, the files that mutations begin with."""
    greensboro = read_weather(TMY3, STORE)
    assert isinstance(greensboro, TypicalYear)
    return {
        "fleet": (
            FLEET.encode(),
            (ROOT / "fleets" / "field-edge.toml").read_bytes(),
            (ROOT / "fleets" / "starter.toml").read_bytes(),
        ),
        "newcomers": (NEWCOMERS.encode(), (ROOT / "fleets" / "new-cooler.toml").read_bytes()),
        "forecast": (FORECAST.read_bytes(), CLOUDS.encode()),
        "TMY3": (TMY3.read_bytes(),),
        "TMY2": ((Path(pvlib.__file__).parent / "data" / "12839.tm2").read_bytes(),),
        "EPW": (epw_text(greensboro).encode(),),
        "PVGIS csv": (pvgis_csv(STORE, 0.17).encode(),),
        "PVGIS json": (pvgis_json(STORE, 0.17).encode(),),
        "logbook": (LOGBOOK.encode(), SPREADSHEETS_LOGBOOK.encode(), AMERICAN_LOGBOOK.encode()),
        "plan": (render_plan_json(plan_beside(), yard()).encode(),),
        "state": (_state(),),
        "document": (json.dumps(document()).encode(),),
    }
