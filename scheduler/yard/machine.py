"""Machines and what is asked of them: battery, charger, needs (R7 to R9, R12)."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Annotated, Self

from pydantic import Field, model_validator

from scheduler.units import fraction_from_pct
from scheduler.yard.clock import Moment, ReadyBy
from scheduler.yard.figures import (
    Kind,
    Number,
    Pct,
    PctBelow100,
    Positive,
    PositivePct,
    Priority,
    Record,
    Switch,
    Text,
    Weekday,
    refuse,
)

WAYS_OF_SAYING = (
    ("charge_pct",),
    ("energy_wh",),
    ("hours", "draw_w"),
    ("distance_km", "wh_per_km"),
    ("distance_miles", "wh_per_mile"),
)


class Need(Record):
    """What a machine must hold, by when, and how long it is then away (R9, R12)."""

    ready_by: ReadyBy
    weekdays: Annotated[tuple[Weekday, ...], Field(min_length=1)] | None = None
    away_h: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=8784)] = 0.0  # a leap year
    priority: Priority | None = None
    charge_pct: PositivePct | None = None
    energy_wh: Positive | None = None
    hours: Positive | None = None
    draw_w: Positive | None = None
    distance_km: Positive | None = None
    wh_per_km: Positive | None = None
    distance_miles: Positive | None = None
    wh_per_mile: Positive | None = None

    @model_validator(mode="after")
    def _one_way_of_saying(self) -> Self:
        refuse(self._problems())
        return self

    def _problems(self) -> Iterator[str]:
        if self.weekdays is not None and isinstance(self.ready_by, dt.datetime):
            yield "weekdays: wanted with a time of day only; this ready_by has a date"
        begun = [group for group in WAYS_OF_SAYING if any(getattr(self, key) is not None for key in group)]
        if len(begun) != 1:
            found = " and ".join(" + ".join(group) for group in begun) or "none of them"
            yield (
                "wanted exactly one of charge_pct, energy_wh, hours + draw_w, distance_km + wh_per_km, "
                f"distance_miles + wh_per_mile; found {found}"
            )
        for group in begun:
            for key in group:
                if getattr(self, key) is None:
                    yield f"{key}: missing; {' + '.join(group)} go together"

    @property
    def work_wh(self) -> float:
        """Battery energy that the work takes at ready-by [Wh]; 0 where only a charge level is asked for."""
        if self.energy_wh is not None:
            return self.energy_wh
        if self.hours is not None and self.draw_w is not None:
            return self.hours * self.draw_w
        if self.distance_km is not None and self.wh_per_km is not None:
            return self.distance_km * self.wh_per_km
        if self.distance_miles is not None and self.wh_per_mile is not None:
            return self.distance_miles * self.wh_per_mile
        return 0.0


class Machine(Record):
    """A machine with a battery and the charger that belongs to it (R7 to R9, R12)."""

    name: Text
    count: Annotated[int, Field(strict=True, ge=1, le=99)] = 1
    battery_wh: Positive | None = None
    battery_v: Positive | None = None
    battery_ah: Positive | None = None
    charger_w: Positive
    charger_efficiency_pct: PositivePct = 88.0
    battery_charge_max_w: Positive | None = None
    taper_from_pct: Pct = 80.0
    supply: Kind = "ac"
    charge_temp_c: tuple[Number, Number] = (0.0, 45.0)
    self_protecting: Switch = False
    floor_pct: PctBelow100 = 0.0
    priority: Priority = "should"
    charge_pct: Pct
    outlet: Text | None = None
    away_until: Moment | None = None
    needs: tuple[Need, ...] = ()

    @model_validator(mode="after")
    def _possible(self) -> Self:
        refuse((*self._battery_problems(), *self._place_problems()) or self._need_problems())
        return self

    def _battery_problems(self) -> Iterator[str]:
        by_charge = [key for key in ("battery_v", "battery_ah") if getattr(self, key) is not None]
        if self.battery_wh is None and not by_charge:
            yield "battery_wh: missing; wanted for instance battery_wh = 2400, or battery_v and battery_ah"
        elif self.battery_wh is not None and by_charge:
            found = " and ".join(["battery_wh", *by_charge])
            yield f"{by_charge[0]}: wanted either battery_wh or battery_v and battery_ah, found {found}"
        elif self.battery_wh is None and len(by_charge) == 1:
            missing = "battery_ah" if by_charge == ["battery_v"] else "battery_v"
            yield f"{missing}: missing; battery_v and battery_ah go together"
        if self.charge_temp_c[0] >= self.charge_temp_c[1]:
            yield "charge_temp_c: wanted the lower temperature first"

    def _place_problems(self) -> Iterator[str]:
        if self.count > 1 and self.outlet is not None:
            yield "outlet: goes with a single machine, not with count; give each a [[machines]] of its own"
        if self.outlet is not None and self.away_until is not None:
            yield "outlet: a machine that is away (away_until) is in no outlet"

    def _need_problems(self) -> Iterator[str]:
        for need in self.needs:
            if self.need_wh(need) > self.capacity_wh * (1 + 1e-9):
                floor = f" (work {need.work_wh:g}, floor_pct {self.floor_pct:g})" if self.floor_pct else ""
                yield (
                    f"wants {self.need_wh(need):g} Wh{floor}, "
                    f"more than the {self.capacity_wh:g} Wh that the battery holds"
                )

    @property
    def capacity_wh(self) -> float:
        """What the battery holds when full [Wh]."""
        if self.battery_wh is not None:
            return self.battery_wh
        return (self.battery_v or 0.0) * (self.battery_ah or 0.0)

    @property
    def charger_efficiency(self) -> float:
        """Energy in the battery over energy at the wall, as a fraction."""
        return fraction_from_pct(self.charger_efficiency_pct)

    @property
    def taper_from(self) -> float:
        """The charge fraction from which the charger's power falls (R7)."""
        return fraction_from_pct(self.taper_from_pct)

    @property
    def floor_wh(self) -> float:
        """The charge below which it is not to be run [Wh]."""
        return fraction_from_pct(self.floor_pct) * self.capacity_wh

    @property
    def charge_wh(self) -> float:
        """What the battery holds when the plan begins [Wh]."""
        return fraction_from_pct(self.charge_pct) * self.capacity_wh

    def need_wh(self, need: Need) -> float:
        """Return what the battery must hold at ready-by for `need` to be met [Wh] (R12)."""
        if need.charge_pct is not None:
            return fraction_from_pct(need.charge_pct) * self.capacity_wh
        return need.work_wh + self.floor_wh

    def priority_of(self, need: Need) -> Priority:
        """Return the class of a need: its own, else the machine's."""
        return need.priority or self.priority
