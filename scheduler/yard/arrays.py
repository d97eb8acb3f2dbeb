"""Arrays: the panels of one plane on one input, what shades them, and how they are wired (R2)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated, Self

from pydantic import Field, model_validator

from scheduler.units import fraction_from_pct
from scheduler.yard.clock import MinuteOfDay
from scheduler.yard.figures import (
    Bearing,
    Elevation,
    Losses,
    Mounting,
    Pct,
    PctBelow100,
    Positive,
    Record,
    Text,
    Whole,
    WireGauge,
    refuse,
)


class Shade(Record):
    """A daily spell, on the site's clock, in which something stands before the panels."""

    between: tuple[MinuteOfDay, MinuteOfDay]
    lost_pct: Pct
    sky_lost_pct: Pct | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.between[0] >= self.between[1]:
            refuse(["between: wanted the earlier time first"])
        return self


class Array(Record):
    """Panels in one plane on one charge controller input (R2)."""

    name: Text
    panels: Whole
    panel_w: Positive
    tilt_deg: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=90)]
    azimuth_deg: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=360)]
    mounting: Mounting = "open_rack"
    temp_coeff_pct_per_c: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-2, le=0)] = -0.40
    losses_pct: Losses = 14.08
    input: Text | None = None
    input_limit_w: Positive | None = None
    soiling_pct: Annotated[tuple[PctBelow100, ...], Field(min_length=12, max_length=12)] | None = None
    horizon_deg: Annotated[tuple[tuple[Bearing, Elevation], ...], Field(min_length=1)] | None = None
    shade: tuple[Shade, ...] = ()
    series: Whole | None = None
    parallel: Whole | None = None
    voc_v: Positive | None = None
    isc_a: Positive | None = None
    vmp_v: Positive | None = None
    imp_a: Positive | None = None
    voc_coeff_pct_per_c: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-2, le=0)] | None = None
    panel_fuse_a: Positive | None = None
    fuse_a: Positive | None = None
    connector_a: Positive | None = None
    input_max_v: Positive | None = None
    input_min_v: Positive | None = None
    input_max_a: Positive | None = None
    cable_awg: WireGauge | None = None
    cable_mm2: Positive | None = None
    cable_m: Positive | None = None
    panel_m2: Positive | None = None
    panel_kg: Positive | None = None
    roof_height_m: Positive | None = None
    uplift_coefficient: Positive | None = None
    tie_downs: Whole | None = None
    tie_down_n: Positive | None = None

    @model_validator(mode="after")
    def _wired_from_its_panels(self) -> Self:
        if self.series and self.parallel and self.series * self.parallel != self.panels:
            refuse(
                [
                    f"series: {self.series} in series times {self.parallel} in parallel are "
                    f"{self.series * self.parallel} panels; wanted panels = {self.panels}"
                ]
            )
        if self.input_min_v and self.input_max_v and self.input_min_v >= self.input_max_v:
            refuse(["input_min_v: wanted less than input_max_v"])
        return self

    @model_validator(mode="after")
    def _horizon_goes_round(self) -> Self:
        azimuths = [azimuth for azimuth, _ in self.horizon_deg or ()]
        if any(after <= before for before, after in pairwise(azimuths)):
            refuse(["horizon_deg: wanted each azimuth larger than the one before, once round clockwise"])
        return self

    @property
    def rated_w(self) -> float:
        """All panels together under standard test conditions [W]."""
        return self.panels * self.panel_w

    @property
    def loss_fraction(self) -> float:
        """System losses as one fraction, named losses multiplied and not added (R2)."""
        if isinstance(self.losses_pct, dict):
            kept = 1.0
            for loss_pct in self.losses_pct.values():
                kept *= 1.0 - fraction_from_pct(loss_pct)
            return 1.0 - kept
        return fraction_from_pct(self.losses_pct)


def places_by_input(arrays: Sequence[Array]) -> tuple[tuple[int, ...], ...]:
    """Where in the list the arrays of each controller input stand; an array without a named input has its own."""
    places: dict[str | int, list[int]] = {}
    for place, array in enumerate(arrays):
        places.setdefault(place if array.input is None else array.input, []).append(place)
    return tuple(map(tuple, places.values()))


def shared_input_limit_w(arrays: Sequence[Array]) -> float:
    """The most that one input takes from all of these arrays: the smallest limit given; infinite without any [W]."""
    return min((array.input_limit_w or math.inf for array in arrays), default=math.inf)
