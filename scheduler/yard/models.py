"""The yard as its fleet file tells it: frozen records, one class a table, the file's own keys and units.

Percent and the other units people write stay in the fields; what the program computes with (fractions, Wh)
are properties. Every default stands here once; the starter file shows each with its reason.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, Self
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from scheduler.units import CONTINUOUS_FRACTION, fraction_from_pct
from scheduler.yard.clock import WEEKDAYS, MinuteOfDay, Moment, ReadyBy

Kind = Literal["ac", "dc"]
Mounting = Literal["open_rack", "close_roof", "insulated_back"]
Priority = Literal["must", "should", "could"]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]

PRIORITIES: tuple[Priority, ...] = ("must", "should", "could")

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Positive = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0)]
NotNegative = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0)]
Pct = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=100)]
PositivePct = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=100)]
Switch = Annotated[bool, Field(strict=True)]
Whole = Annotated[int, Field(strict=True, ge=1)]
Text = Annotated[str, Field(strict=True, min_length=1)]


class Record(BaseModel):
    """A frozen table of the fleet file; unknown keys are mistakes."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Site(Record):
    """Where the yard is and which clock hangs on its wall."""

    name: Text = "yard"
    latitude: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-90, le=90)]
    longitude: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-180, le=180)]
    timezone: Text
    elevation_m: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-450, le=9000)] = 0.0
    shed_offset_c: Number = 0.0
    typical_year: Text | None = None

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        if value not in available_timezones():
            msg = 'wanted an IANA zone such as "America/New_York"'
            raise ValueError(msg)
        return value

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return ZoneInfo(self.timezone)


class Shade(Record):
    """A daily spell, on the site's clock, in which something stands before the panels."""

    between: tuple[MinuteOfDay, MinuteOfDay]
    lost_pct: Pct

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.between[0] >= self.between[1]:
            msg = "between: wanted the earlier time first"
            raise ValueError(msg)
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
    losses_pct: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, lt=100)] | dict[Text, Pct] = (
        14.08
    )
    input_limit_w: Positive | None = None
    shade: tuple[Shade, ...] = ()
    series: Whole | None = None
    parallel: Whole | None = None
    voc_v: Positive | None = None
    isc_a: Positive | None = None
    vmp_v: Positive | None = None
    imp_a: Positive | None = None
    input_max_v: Positive | None = None
    input_max_a: Positive | None = None
    cable_awg: Text | None = None
    cable_mm2: Positive | None = None
    cable_m: Positive | None = None

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


class Bank(Record):
    """The battery bank (R3, R4)."""

    modules_wh: Annotated[tuple[Positive, ...], Field(min_length=1)]
    reserve_pct: Pct
    level_pct: Pct
    charge_max_w: Positive | None = None
    discharge_max_w: Positive | None = None
    charge_efficiency_pct: PositivePct = 97.0
    discharge_efficiency_pct: PositivePct = 97.0

    @model_validator(mode="after")
    def _level_above_reserve(self) -> Self:
        if self.level_pct < self.reserve_pct:
            msg = f"level_pct {self.level_pct:g} is below reserve_pct {self.reserve_pct:g}"
            raise ValueError(msg)
        return self

    @property
    def capacity_wh(self) -> float:
        """All modules together [Wh]."""
        return sum(self.modules_wh)

    @property
    def reserve_wh(self) -> float:
        """The level that no plan goes below under the dull sun [Wh]."""
        return fraction_from_pct(self.reserve_pct) * self.capacity_wh

    @property
    def level_wh(self) -> float:
        """What the bank holds when the plan begins [Wh]."""
        return fraction_from_pct(self.level_pct) * self.capacity_wh

    @property
    def charge_efficiency(self) -> float:
        """What of the energy going in is stored, as a fraction."""
        return fraction_from_pct(self.charge_efficiency_pct)

    @property
    def discharge_efficiency(self) -> float:
        """What of the energy taken from store comes out, as a fraction."""
        return fraction_from_pct(self.discharge_efficiency_pct)


class Inverter(Record):
    """The inverter between the bank and everything that runs on AC (R5)."""

    continuous_w: Positive
    surge_w: Positive | None = None
    efficiency_pct: PositivePct = 90.0
    idle_w: NotNegative = 20.0
    off_when_unused: Switch = False

    @model_validator(mode="after")
    def _surge_not_below_continuous(self) -> Self:
        if self.surge_w is not None and self.surge_w < self.continuous_w:
            msg = f"surge_w {self.surge_w:g} is below continuous_w {self.continuous_w:g}"
            raise ValueError(msg)
        return self

    @property
    def surge_limit_w(self) -> float:
        """Watts it stands for a moment; without a figure no more than it stands for good [W]."""
        return self.continuous_w if self.surge_w is None else self.surge_w

    @property
    def efficiency(self) -> float:
        """AC out over DC in, as a fraction."""
        return fraction_from_pct(self.efficiency_pct)


class Outlet(Record):
    """A place where one machine can be plugged in (R6)."""

    name: Text
    kind: Kind
    max_w: Positive | None = None
    breaker_a: Positive | None = None
    volts: Positive = 120.0
    timer: Switch = False

    @property
    def breaker_w(self) -> float:
        """The breaker's rating [W]; infinite where none is given."""
        return float("inf") if self.breaker_a is None else self.breaker_a * self.volts

    @property
    def limit_w(self) -> float:
        """The most a machine may draw here, for a short while [W]."""
        return min(self.breaker_w, float("inf") if self.max_w is None else self.max_w)

    @property
    def continuous_w(self) -> float:
        """What may be drawn here for 3 hours and more [W] (R6)."""
        return CONTINUOUS_FRACTION * self.breaker_w


class HouseLoad(Record):
    """Something of the house on the inverter, always on or switching itself (R11)."""

    name: Text
    watts: Positive
    surge_w: Positive | None = None
    always_on: Switch = False
    hours_per_day: Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=24)] | None = None
    window: tuple[MinuteOfDay, MinuteOfDay] | None = None
    min_block_h: Positive | None = None

    @model_validator(mode="after")
    def _always_or_duty(self) -> Self:
        duty_keys = [key for key in ("hours_per_day", "window", "min_block_h") if getattr(self, key) is not None]
        if self.always_on and duty_keys:
            msg = f"always_on = true goes without {', '.join(duty_keys)}"
            raise ValueError(msg)
        if not self.always_on and self.hours_per_day is None:
            msg = "wanted always_on = true, or hours_per_day (with window and min_block_h)"
            raise ValueError(msg)
        if self.surge_w is not None and self.surge_w < self.watts:
            msg = f"surge_w {self.surge_w:g} is below watts {self.watts:g}; it is the total while starting"
            raise ValueError(msg)
        self._check_duty()
        return self

    def _check_duty(self) -> None:
        if self.hours_per_day is None:
            return
        if self.window is not None and self.window[0] == self.window[1]:
            msg = 'window: wanted two different times; ["00:00", "24:00"] is the whole day'
            raise ValueError(msg)
        if self.hours_per_day > self.window_h:
            msg = f"hours_per_day {self.hours_per_day:g} is more than its window of {self.window_h:g} h"
            raise ValueError(msg)
        if self.min_block_h is not None and self.min_block_h > self.hours_per_day:
            msg = f"min_block_h {self.min_block_h:g} is more than hours_per_day {self.hours_per_day:g}"
            raise ValueError(msg)

    @property
    def window_minutes(self) -> tuple[int, int]:
        """Start and end of the window, the end past 24:00 where it runs over midnight [minutes]."""
        start, end = self.window or (0, 24 * 60)
        return (start, end) if end > start else (start, end + 24 * 60)

    @property
    def window_h(self) -> float:
        """Length of the window on a day of 24 hours [h]."""
        start, end = self.window_minutes
        return (end - start) / 60.0

    @property
    def start_w(self) -> float:
        """What it draws in total while it starts [W]."""
        return self.watts if self.surge_w is None else self.surge_w


class Visits(Record):
    """When somebody stands in the yard and can change plugs (R10)."""

    times: tuple[MinuteOfDay, ...]
    mon: tuple[MinuteOfDay, ...] | None = None
    tue: tuple[MinuteOfDay, ...] | None = None
    wed: tuple[MinuteOfDay, ...] | None = None
    thu: tuple[MinuteOfDay, ...] | None = None
    fri: tuple[MinuteOfDay, ...] | None = None
    sat: tuple[MinuteOfDay, ...] | None = None
    sun: tuple[MinuteOfDay, ...] | None = None

    def on_weekday(self, weekday: int) -> tuple[int, ...]:
        """Visits of a weekday, 0 for Monday, in minutes of the local day."""
        own: tuple[int, ...] | None = getattr(self, WEEKDAYS[weekday])
        return self.times if own is None else own


class Need(Record):
    """What a machine must hold, by when, and how long it is then away (R9, R12)."""

    ready_by: ReadyBy
    weekdays: Annotated[tuple[Weekday, ...], Field(min_length=1)] | None = None
    away_h: NotNegative = 0.0
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
        if self.weekdays is not None and isinstance(self.ready_by, dt.datetime):
            msg = "weekdays goes with a time of day; this ready_by has a date"
            raise ValueError(msg)
        groups = (
            ("charge_pct",),
            ("energy_wh",),
            ("hours", "draw_w"),
            ("distance_km", "wh_per_km"),
            ("distance_miles", "wh_per_mile"),
        )
        begun = [group for group in groups if any(getattr(self, key) is not None for key in group)]
        if len(begun) != 1:
            found = " and ".join(" + ".join(group) for group in begun) or "none of them"
            msg = (
                "wanted exactly one of charge_pct, energy_wh, hours + draw_w, distance_km + wh_per_km, "
                f"distance_miles + wh_per_mile; found {found}"
            )
            raise ValueError(msg)
        missing = [key for key in begun[0] if getattr(self, key) is None]
        if missing:
            msg = f"{' + '.join(begun[0])} go together; {missing[0]} is missing"
            raise ValueError(msg)
        return self

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
    count: Whole = 1
    battery_wh: Positive | None = None
    battery_v: Positive | None = None
    battery_ah: Positive | None = None
    charger_w: Positive
    charger_efficiency_pct: PositivePct = 88.0
    taper_from_pct: Pct = 80.0
    supply: Kind = "ac"
    charge_temp_c: tuple[Number, Number] = (0.0, 45.0)
    self_protecting: Switch = False
    floor_pct: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, lt=100)] = 0.0
    priority: Priority = "should"
    charge_pct: Pct
    outlet: Text | None = None
    away_until: Moment | None = None
    needs: tuple[Need, ...] = ()

    @model_validator(mode="after")
    def _battery_once(self) -> Self:
        by_charge = self.battery_v is not None and self.battery_ah is not None
        if (self.battery_wh is not None) == by_charge or (
            self.battery_wh is not None and (self.battery_v is not None or self.battery_ah is not None)
        ):
            msg = "wanted either battery_wh or battery_v + battery_ah"
            raise ValueError(msg)
        if self.charge_temp_c[0] >= self.charge_temp_c[1]:
            msg = "charge_temp_c: wanted the lower temperature first"
            raise ValueError(msg)
        if self.count > 1 and self.outlet is not None:
            msg = "outlet goes with a single machine, not with count"
            raise ValueError(msg)
        if self.outlet is not None and self.away_until is not None:
            msg = "a machine that is away (away_until) is in no outlet"
            raise ValueError(msg)
        for need in self.needs:
            if self.need_wh(need) > self.capacity_wh * (1 + 1e-9):
                msg = (
                    f"a need of {self.need_wh(need):g} Wh (floor included) is more than "
                    f"the battery's {self.capacity_wh:g} Wh"
                )
                raise ValueError(msg)
        return self

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
        """What the battery must hold at ready-by for `need` to be met [Wh] (R12)."""
        if need.charge_pct is not None:
            return fraction_from_pct(need.charge_pct) * self.capacity_wh
        return need.work_wh + self.floor_wh

    def priority_of(self, need: Need) -> Priority:
        """Return the class of a need: its own, else the machine's."""
        return need.priority or self.priority


class Yard(Record):
    """Everything in one fleet file; machines given by `count` already stand one by one."""

    site: Site
    arrays: Annotated[tuple[Array, ...], Field(min_length=1)]
    bank: Bank
    inverter: Inverter
    outlets: Annotated[tuple[Outlet, ...], Field(min_length=1)]
    house_loads: tuple[HouseLoad, ...] = ()
    visits: Visits
    machines: tuple[Machine, ...] = ()

    @property
    def always_on_w(self) -> float:
        """Watts of the house that never stop [W]."""
        return sum(load.watts for load in self.house_loads if load.always_on)
