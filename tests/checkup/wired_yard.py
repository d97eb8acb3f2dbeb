"""An array that is wired well on an input that suits it, and a year of four hours for it."""

from __future__ import annotations

from typing import Any

import numpy as np

from scheduler.checkup.findings import Finding, Grade, PartReport
from scheduler.checkup.siteyear import ArrayYear, SiteYear
from scheduler.yard.models import Yard
from tests.checkup.small_yard import PANELS, make_yard

#: Six panels, three in series: at -15 C 3 x 40 V x 1.12 = 134.4 V; 2 x 10 A x 1.25 = 25 A, x 1.25 = 31.25 A.
WIRED: dict[str, Any] = PANELS | {
    "panels": 6,
    "panel_w": 300.0,
    "temp_coeff_pct_per_c": -0.4,
    "series": 3,
    "parallel": 2,
    "voc_v": 40.0,
    "isc_a": 10.0,
    "vmp_v": 33.0,
    "imp_a": 9.5,
    "voc_coeff_pct_per_c": -0.3,
    "panel_fuse_a": 20.0,
    "input_max_v": 150.0,
    "input_min_v": 60.0,
    "input_max_a": 30.0,
    "cable_awg": "10",
    "cable_m": 10.0,
}


def wired_yard(*changes: dict[str, Any], low_c: float | None = -15.0, **site: Any) -> Yard:
    """A yard with an array for each of the changes, one without any; None takes a key away."""
    arrays = [
        {
            key: value
            for key, value in (WIRED | {"name": f"roof {number}"} | change).items()
            if value is not None
        }
        for number, change in enumerate(changes or ({},), 1)
    ]
    return make_yard(site={"record_low_c": low_c} | site, arrays=arrays)


def short_year(*panels_w: list[float], cells_c: tuple[float, ...] = (0.0, 20.0, 40.0, 60.0)) -> SiteYear:
    """Hours with so many watts of each array; all of them with the same cells."""
    n_hours = len(cells_c)
    return SiteYear(
        source="made by hand",
        month=np.full(n_hours, 6),
        air_c=np.linspace(-12.0, 20.0, n_hours),
        shed_c=np.full(n_hours, 15.0),
        sun_up=np.full(n_hours, fill_value=True),
        arrays=tuple(ArrayYear(np.array(watts), np.array(cells_c)) for watts in panels_w),
    )


def grave(report: PartReport) -> list[Finding]:
    """Stops and warnings."""
    return [finding for finding in report.findings if finding.grade is not Grade.NOTE]


def value_of(report: PartReport, name: str, about: str = "roof 1") -> tuple[float, float | None]:
    """A figure and its limit, by the beginning of its name."""
    (found,) = (one for one in report.figures if one.name.startswith(name) and one.about == about)
    return found.value, found.limit
