"""What a gust pulls at panels that lie flat on a roof, and what their tie-downs carry of it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from scheduler.checkup.findings import Figure, Finding, Grade, Part, PartReport
from scheduler.checkup.siteyear import SiteYear
from scheduler.yard.figures import Exposure
from scheduler.yard.models import Array, Site, Yard

#: Half the density of air at 15 C at the sea [kg/m3], ASCE 7-16, (26.10-1) in SI units.
HALF_AIR_DENSITY = 0.613

#: The hardest wind seldom blows from the worst side: ASCE 7-16, Table 26.6-1, for parts of a building's skin.
DIRECTIONALITY = 0.85

#: Flat ground; on a hill or a ridge it is more (ASCE 7-16, 26.8).
TOPOGRAPHY = 1.0

#: Exponent, height above which the ground brakes no wind [m], and the least height reckoned with [m].
TERRAIN: dict[Exposure, tuple[float, float, float]] = {
    "B": (7.0, 365.76, 9.144),
    "C": (9.5, 274.32, 4.572),
    "D": (11.5, 213.36, 4.572),
}

#: Uplift on a flat-lying array over velocity pressure, where the file has none. ASCE 7-16, 29.4.4, all from memory:
#: 2.5 for the suction on small areas at a roof's edges (2.3 on flat roofs, 2.0 to 3.0 on gable roofs, Figures 30.3-2),
#: times 1.5 for panels at an array's exposed edge, times 0.8 for the air that gets behind a small area. A roof's
#: corners can have more; its middle has about half.
CAUTIOUS_COEFFICIENT = 3.0

#: The least that any part of a building's skin is reckoned with: 16 lb/ft2, ASCE 7-16, 30.2.2, from memory [Pa].
LEAST_NET_PA = 770.0

#: Where the file has none (common practice, no source).
COMMON_PANEL_M2, COMMON_PANEL_KG_PER_M2, COMMON_HEIGHT_M = 1.95, 11.0, 5.0

STANDARD_GRAVITY_M_S2 = 9.80665

CAUTION = (
    "Falling panels kill, and so do falls from roofs. Work on a roof, and what holds panels and ballast there against "
    "the wind, are for people qualified for it. The local building code comes before this figure, which is an order "
    "of magnitude to talk with them about."
)


def exposure_coefficient(exposure: Exposure, height_m: float) -> float:
    """How a gust's pressure at a height compares with that in open country at 10 m (Kz).

    Parameters
    ----------
    exposure : {"B", "C", "D"}
        What brakes the wind around: trees and houses, open country, open water.
    height_m : float
        Above the ground [m].

    Notes
    -----
    ``Kz = 2.01 (z / zg)^(2 / alpha)``, with z no less than 4.6 m, and for exposure B than 9.1 m, as for parts of a
    building's skin.

    References
    ----------
    ASCE 7-16, Tables 26.10-1 and 26.11-1, as reproduced in calculation sheets.
    """
    alpha, gradient_m, least_m = TERRAIN[exposure]
    return float(2.01 * (min(max(height_m, least_m), gradient_m) / gradient_m) ** (2.0 / alpha))


def velocity_pressure_pa(gust_m_s: float, exposure: Exposure, height_m: float) -> float:
    """Pressure of a gust [Pa, which is N/m2].

    Parameters
    ----------
    gust_m_s : float
        The code's basic wind speed: mean of 3 seconds, at 10 m, in open country [m/s].
    exposure : {"B", "C", "D"}
    height_m : float
        Of the array above the ground [m].

    Notes
    -----
    ``q = 0.613 Kz Kzt Kd V^2`` with Kzt = 1 and Kd = 0.85. That air is thinner higher up is left out, on the safe side.

    References
    ----------
    ASCE 7-16, (26.10-1) in SI units.
    """
    exposed = exposure_coefficient(exposure, height_m)
    return HALF_AIR_DENSITY * exposed * TOPOGRAPHY * DIRECTIONALITY * gust_m_s**2


@dataclass(frozen=True)
class Uplift:
    """What a gust does to an array.

    Attributes
    ----------
    gust_pa : float
        Velocity pressure [Pa].
    coefficient : float
        Uplift over velocity pressure.
    net_pa : float
        Uplift on a square metre of panels: pressure times coefficient, at the code's least [Pa].
    total_n : float
        On all panels, their weight not taken off [N].
    each_n : float or None
        On one tie-down, if all carry alike [N]; None where their number is not known.
    """

    gust_pa: float
    coefficient: float
    net_pa: float
    total_n: float
    each_n: float | None

    @property
    def is_least(self) -> bool:
        """Whether the code's least is more than what the gust would do."""
        return self.gust_pa * self.coefficient < self.net_pa


def array_uplift(site: Site, array: Array) -> Uplift | None:
    """Work out what the gust does; None without a gust, or if its coefficient cannot be guessed.

    The cautious coefficient is for panels that lie flat; under those in an open rack the wind gets.
    """
    if site.wind_gust_m_s is None or (array.uplift_coefficient is None and array.mounting == "open_rack"):
        return None
    height_m = array.roof_height_m or COMMON_HEIGHT_M
    gust_pa = velocity_pressure_pa(site.wind_gust_m_s, site.wind_exposure, height_m)
    coefficient = array.uplift_coefficient or CAUTIOUS_COEFFICIENT
    net_pa = max(gust_pa * coefficient, LEAST_NET_PA)
    total_n = net_pa * panels_m2(array)
    return Uplift(
        gust_pa, coefficient, net_pa, total_n, total_n / array.tie_downs if array.tie_downs else None
    )


def panels_m2(array: Array) -> float:
    """Surface of all panels [m2]."""
    return array.panels * (array.panel_m2 or COMMON_PANEL_M2)


def panels_kg(array: Array) -> float:
    """Weight of all panels [kg]."""
    return array.panels * array.panel_kg if array.panel_kg else panels_m2(array) * COMMON_PANEL_KG_PER_M2


def check_roof(yard: Yard, year: SiteYear | None) -> PartReport:
    """Check what the wind pulls at each array, as an order of magnitude.

    Parameters
    ----------
    yard : Yard
    year : SiteYear or None
        Not needed: a typical year has no gusts.
    """
    uplifts = [(array, array_uplift(yard.site, array)) for array in yard.arrays]
    return PartReport(
        tuple(figure for array, uplift in uplifts for figure in _figures(yard.site, array, uplift)),
        tuple(_finding(yard.site, array, uplift) for array, uplift in uplifts if uplift is not None),
        tuple(_unchecked(yard.site, uplifts)),
    )


def _unchecked(site: Site, uplifts: list[tuple[Array, Uplift | None]]) -> Iterator[str]:
    if site.wind_gust_m_s is None:
        yield "what the wind pulls at the panels: wind_gust_m_s in [site], the basic wind speed of the code's map"
        return
    for array, uplift in uplifts:
        if uplift is None:
            yield (
                f"what the wind pulls at {array.name}, in an open rack: uplift_coefficient, from the building code; or "
                "mounting, if its panels lie on a roof"
            )
        elif not (array.tie_downs and array.tie_down_n):
            yield f"whether the tie-downs of {array.name} stand the wind: tie_downs and tie_down_n"


def _figures(site: Site, array: Array, uplift: Uplift | None) -> Iterator[Figure]:
    name, kg_per_m2 = array.name, panels_kg(array) / panels_m2(array)
    is_given = array.panel_kg and array.panel_m2
    labels = "fleet file" if is_given else "fleet file, else 1.95 m2 a panel and 11 kg/m2 (common practice)"
    yield Figure(Part.ROOF, name, "weight of the panels", kg_per_m2, "kg/m2", None, labels)
    if uplift is None:
        return
    source = _source(site, array, uplift)
    yield Figure(Part.ROOF, name, "uplift in the gust", uplift.total_n / 1000.0, "kN", None, source)
    if uplift.each_n is not None:
        yield Figure(Part.ROOF, name, "uplift a tie-down", uplift.each_n, "N", array.tie_down_n, source)


def _source(site: Site, array: Array, uplift: Uplift) -> str:
    height = f"{array.roof_height_m:g} m" if array.roof_height_m else f"{COMMON_HEIGHT_M:g} m (taken)"
    times = "as in the fleet file" if array.uplift_coefficient else "29.4.4 for a roof's edge, from memory"
    least = f"; 30.2.2, from memory: no less than {LEAST_NET_PA:.0f} N/m2" if uplift.is_least else ""
    return (
        f"ASCE 7-16, (26.10-1), exposure {site.wind_exposure}, {height} up, flat ground: {uplift.gust_pa:.0f} N/m2; "
        f"times {uplift.coefficient:g}, {times}{least}"
    )


def _finding(site: Site, array: Array, uplift: Uplift) -> Finding:
    """Never a stop: much hangs on edges and gaps that no file tells, and no plan makes it better or worse."""
    gust, weight_n = f"A gust of {site.wind_gust_m_s:g} m/s", panels_kg(array) * STANDARD_GRAVITY_M_S2
    if uplift.each_n is None or array.tie_down_n is None:
        found, limit = uplift.total_n, weight_n
        title = f"{gust} pulls at {array.name} with about {_kn(found)} in all; its panels weigh {_kn(limit)}"
    else:
        found, limit = uplift.each_n, array.tie_down_n
        title = (
            f"{gust} pulls at each of the {array.tie_downs} tie-downs of {array.name} with about {_tens(found)} N; "
            f"one may carry {limit:g} N"
        )
    is_too_much = array.tie_down_n is not None and uplift.each_n is not None and found > limit
    return Finding(
        grade=Grade.WARNING if is_too_much else Grade.NOTE,
        part=Part.ROOF,
        about=array.name,
        title=title,
        found=found,
        limit=limit,
        unit="N",
        source=_source(site, array, uplift),
        meaning=_meaning(uplift, weight_n),
        mend=_mend(array, uplift, is_too_much=is_too_much),
        caution=CAUTION,
    )


def _meaning(uplift: Uplift, weight_n: float) -> str:
    least = "The gust alone would do less: this is the least that the code reckons with. " if uplift.is_least else ""
    return (
        f"{least}In all it lifts with {_kn(uplift.total_n)}; the panels' own weight, {_kn(weight_n)}, is not taken "
        "off. At a roof's corners it can be more, in its middle it is less. Against working loads the code takes 0.6 "
        "of this wind (ASCE 7-16, 2.4.1, from memory), so that someone qualified may well find less."
    )


def _mend(array: Array, uplift: Uplift, *, is_too_much: bool) -> str:
    if not is_too_much:
        return (
            "Have someone qualified confirm it once; after storms look at clamps and straps, from the ground."
        )
    enough = math.ceil(uplift.total_n / (array.tie_down_n or math.inf))
    return (
        "Before the next storm, have someone qualified work it out and see what the tie-downs hold on to: "
        f"{enough} of this kind, each well held in the frame of the roof, would share it."
    )


def _kn(force_n: float) -> str:
    return f"{force_n / 1000.0:.1f} kN"


def _tens(force_n: float) -> int:
    """Up, so that what is too much never looks as if it were not."""
    return math.ceil(force_n / 10.0) * 10
