"""The year that is lived has the sun of its typical year: totals and worst runs of days (WX-02).

Data: TMY3 723170 Greensboro NC and 703165 Sand Point AK (Wilcox and Marion, NREL/TP-581-43156, 2008), TMY2 12839
Miami FL (Marion and Urban 1995). The figures were computed once from these files by other means, to the last digit.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from scheduler.studies.typicalsuns import TypicalSuns, prepare_suns
from scheduler.sun.typicalyear import TypicalYear
from scheduler.sun.weather import read_weather
from scheduler.yard.models import Site
from tests.studies.small_yard import small_yard

ROOT = Path(__file__).parents[2]
SITES = {
    "Greensboro": Site(latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="America/New_York"),
    "Miami": Site(latitude=25.8, longitude=-80.267, elevation_m=2.0, timezone="America/New_York"),
    "Sand Point": Site(latitude=55.317, longitude=-160.517, elevation_m=7.0, timezone="America/Anchorage"),
}

#: Global horizontal irradiance of the year [kWh/m2], and its worst means over 1, 3, 5 and 7 days [kWh/m2 a day].
PUBLISHED = {
    "Greensboro": (1566.203, {1: 0.694, 3: 0.889, 5: 1.215, 7: 1.557}),
    "Miami": (1792.618, {1: 1.095, 3: 2.093, 5: 2.470, 7: 2.657}),
    "Sand Point": (829.243, {1: 0.164, 3: 0.204, 5: 0.224, 7: 0.253}),
}

#: On which day, counted from 1, the worst run ends.
ENDS_ON = {
    "Greensboro": {1: 331, 3: 333, 5: 365, 7: 365},
    "Miami": {1: 1, 3: 264, 5: 308, 7: 309},
    "Sand Point": {1: 8, 3: 10, 5: 12, 7: 358},
}


@pytest.fixture(scope="module", params=SITES)
def place(request: pytest.FixtureRequest) -> tuple[str, TypicalSuns]:
    import pvlib

    data = Path(pvlib.__file__).parent / "data"
    files = {
        "Greensboro": ROOT / "forecasts" / "greensboro-tmy3.csv",
        "Miami": data / "12839.tm2",
        "Sand Point": data / "703165TY.csv",
    }
    site = SITES[request.param]
    weather = read_weather(files[request.param], site)
    assert isinstance(weather, TypicalYear)
    return request.param, prepare_suns(small_yard(site=site), weather, 60, 2027)


def test_the_years_total_is_the_files(place: tuple[str, TypicalSuns]) -> None:
    name, suns = place
    assert suns.ghi_wh_m2.sum() / 1000.0 == pytest.approx(PUBLISHED[name][0], abs=6e-4)


@pytest.mark.parametrize("n_days", [1, 3, 5, 7])
def test_the_worst_days_on_end_are_the_files(place: tuple[str, TypicalSuns], n_days: int) -> None:
    name, suns = place
    runs_kwh = np.convolve(suns.ghi_wh_m2 / 1000.0, np.full(n_days, 1.0 / n_days), mode="valid")
    assert runs_kwh.min() == pytest.approx(PUBLISHED[name][1][n_days], abs=6e-4)
    assert int(runs_kwh.argmin()) + n_days == ENDS_ON[name][n_days]
