"""The three climates on which the suns are fitted and judged: typical years that pvlib carries among its data."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
from pvlib import iotools

from scheduler.sun.skies import clear_ghi_w_m2
from scheduler.sun.typicalyear import HOURS_PER_DAY, NOMINAL_YEAR, YEAR_DAYS, TypicalYear
from scheduler.sun.weather import read_weather
from scheduler.timegrid import FloatArray
from scheduler.yard.models import Site

DATA = Path(pvlib.__file__).parent / "data"

PLACES = {
    "Greensboro": ("723170TYA.CSV", Site(latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="Etc/GMT+5")),
    "Miami": ("12839.tm2", Site(latitude=25.8, longitude=-80.267, elevation_m=2.0, timezone="Etc/GMT+5")),
    "Sand Point": ("703165TY.csv", Site(latitude=55.317, longitude=-160.517, elevation_m=7.0, timezone="Etc/GMT+9")),
}

#: Quarter of the year, 0 to 3, of each day.
QUARTER_OF_DAY = (pd.date_range(f"{NOMINAL_YEAR}-01-01", periods=YEAR_DAYS).month.to_numpy() - 1) // 3


@dataclass(frozen=True)
class Climate:
    """A typical year by day and hour of the station's standard time, arrays of shape (365, 24)."""

    name: str
    site: Site
    year: TypicalYear
    hours: pd.DatetimeIndex
    ghi_w_m2: FloatArray
    clear_w_m2: FloatArray
    total_cloud_fraction: FloatArray
    opaque_cloud_fraction: FloatArray

    @property
    def clearness(self) -> FloatArray:
        """Each day's share of the clear sky's irradiation."""
        share: FloatArray = self.ghi_w_m2.sum(axis=1) / self.clear_w_m2.sum(axis=1)
        return share


@cache
def climates() -> tuple[Climate, ...]:
    """Read the three typical years."""
    return tuple(_climate(name, DATA / file, site) for name, (file, site) in PLACES.items())


def _climate(name: str, path: Path, site: Site) -> Climate:
    year = read_weather(path, site)
    assert isinstance(year, TypicalYear)
    table = year.by_start_utc()
    hours = pd.DatetimeIndex(table.index)
    assert hours[0] == pd.Timestamp(dt.datetime(NOMINAL_YEAR, 1, 1, tzinfo=site.zone))
    by_day = (YEAR_DAYS, HOURS_PER_DAY)
    if path.suffix == ".tm2":
        data, _ = iotools.read_tmy2(path)
        total, opaque = data["TotCld"], data["OpqCld"]
    else:
        data, _ = iotools.read_tmy3(path)
        total, opaque = data["TotCld (tenths)"], data["OpqCld (tenths)"]
    return Climate(
        name,
        site,
        year,
        hours,
        table["ghi_w_m2"].to_numpy().reshape(by_day),
        clear_ghi_w_m2(site, hours).reshape(by_day),
        np.asarray(total, dtype=float).reshape(by_day) / 10.0,
        np.asarray(opaque, dtype=float).reshape(by_day) / 10.0,
    )
