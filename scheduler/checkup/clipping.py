"""What an input's limit takes from a year's sun, and what planes gain from an input of their own."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from scheduler.checkup.findings import Figure, Finding, Grade, Part
from scheduler.checkup.siteyear import SiteYear
from scheduler.checkup.strings import Input, inputs_of
from scheduler.sun.arraypower import behind_inputs_w
from scheduler.units import kwh_from_wh, pct_from_fraction
from scheduler.yard.arrays import shared_input_limit_w
from scheduler.yard.models import Array, Yard

#: Less than this part of a year's energy is not worth a line.
_TELLING_FRACTION = 0.001

_RULE = "fleet file's input_limit_w against the typical year's hours"


def yearly_kwh(arrays: Sequence[Array], year: SiteYear, places: Sequence[int]) -> float:
    """What arrays bring in the year behind their inputs, those on one input clipped together [kWh].

    Parameters
    ----------
    arrays : sequence of Array
        As wired to their inputs, or as they might be.
    year : SiteYear
    places : sequence of int
        Where each of them stands in the fleet file.
    """
    # By the hour, so the sum of watts is watt-hours.
    hourly_w = behind_inputs_w(arrays, [year.arrays[place].panels_w for place in places])
    return kwh_from_wh(float(hourly_w.sum()))


def clipped_kwh(one: Input, year: SiteYear) -> tuple[float, float]:
    """What the limit of an input takes in the year, and what it leaves [kWh]."""
    kept_kwh = yearly_kwh(one.arrays, year, one.places)
    free = [array.model_copy(update={"input_limit_w": None}) for array in one.arrays]
    return yearly_kwh(free, year, one.places) - kept_kwh, kept_kwh


def clipping_figures(one: Input, year: SiteYear | None) -> Iterator[Figure]:
    """Yield what the limit takes, where there is a limit and a year."""
    if year is not None and np.isfinite(shared_input_limit_w(one.arrays)):
        lost_kwh, _ = clipped_kwh(one, year)
        yield Figure(
            Part.INPUT, one.name, "lost to the input's limit in a year", lost_kwh, "kWh", None, _RULE
        )


def clipping_findings(yard: Yard, year: SiteYear | None) -> Iterator[Finding]:
    """Yield what is worth knowing about limits and planes; none of it is a mistake."""
    if year is None:
        return
    for one in inputs_of(yard):
        yield from _clipped(one, year)
    yield from _planes(yard, year)


def _clipped(one: Input, year: SiteYear) -> Iterator[Finding]:
    lost_kwh, kept_kwh = clipped_kwh(one, year)
    if lost_kwh <= _TELLING_FRACTION * (lost_kwh + kept_kwh):
        return
    rated_w, limit_w = sum(array.rated_w for array in one.arrays), shared_input_limit_w(one.arrays)
    share = pct_from_fraction(lost_kwh / (lost_kwh + kept_kwh))
    yield Finding(
        Grade.NOTE,
        Part.INPUT,
        one.name,
        f"{rated_w:g} W of panels on an input of {limit_w:g} W lose {lost_kwh:.0f} kWh a year, {share:.1f} %",
        rated_w,
        limit_w,
        "W",
        _RULE,
        "The controller leaves what is above its limit; it comes to no harm by that. These are hourly means: short "
        "bright spells lose a little more.",
        "Nothing needs mending; more panels on this input should look elsewhere, or have an input of their own.",
    )


def _planes(yard: Yard, year: SiteYear) -> Iterator[Finding]:
    """Planes that look elsewhere have their best hours apart: on one limited input together, or on one each."""
    limit_w = max((array.input_limit_w or 0.0 for array in yard.arrays), default=0.0)
    planes = {(array.tilt_deg, array.azimuth_deg) for array in yard.arrays}
    if len(planes) < 2 or not limit_w:
        return
    places = range(len(yard.arrays))
    together, apart = (
        yearly_kwh(
            [array.model_copy(update={"input": name, "input_limit_w": limit_w}) for array in yard.arrays],
            year,
            places,
        )
        for name in ("one", None)
    )
    yield Finding(
        Grade.NOTE,
        Part.INPUT,
        "",
        f"All arrays on one input of {limit_w:g} W would bring {together:.0f} kWh a year, on one such input each "
        f"{apart:.0f} kWh",
        together,
        apart,
        "kWh",
        _RULE,
        "Panels that look east and west have their best hours apart and can share a limit with little loss; panels "
        "that look the same way can't.",
        "Nothing needs mending; strings that share an input must be of one length.",
    )
