"""The yard as its fleet file tells it: frozen records, one class a table, the file's own keys and units.

Percent and the other units people write stay in the fields; what the program computes with (fractions, Wh)
are properties. Every default stands here (or beside the machines) once; the starter file shows each with its
reason.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from typing import Annotated, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from pydantic import Field, field_validator, model_validator

from scheduler.units import CONTINUOUS_FRACTION, fraction_from_pct
from scheduler.yard.arrays import Array, Shade
from scheduler.yard.clock import WEEKDAYS, MinuteOfDay
from scheduler.yard.figures import (
    PRIORITIES,
    Building,
    Chemistry,
    Exposure,
    Kind,
    Mounting,
    NotNegative,
    Number,
    Pct,
    Positive,
    PositivePct,
    Priority,
    Record,
    Switch,
    Text,
    Weekday,
    WireGauge,
    refuse,
)
from scheduler.yard.machine import Machine, Need

__all__ = [
    "PRIORITIES",
    "Array",
    "Bank",
    "HouseLoad",
    "Inverter",
    "Kind",
    "Machine",
    "Mounting",
    "Need",
    "Outlet",
    "Priority",
    "Record",
    "Shade",
    "Site",
    "Visits",
    "Weekday",
    "Yard",
]


class Site(Record):
    """Where the yard is and which clock hangs on its wall."""

    name: Text = "yard"
    latitude: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-90, le=90)]
    longitude: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-180, le=180)]
    timezone: Text
    elevation_m: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-450, le=9000)] = 0.0
    shed_offset_c: Number = 0.0
    shed_lag_h: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=240)] = 0.0
    shed_sun_c: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=60)] = 0.0
    shed_loss_w_per_c: Positive | None = None
    record_low_c: Number | None = None
    wind_gust_m_s: Positive | None = None
    wind_exposure: Exposure = "C"
    building: Building = "dwelling"
    typical_year: Text | None = None

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError, OSError) as fault:
            near = difflib.get_close_matches(value, sorted(available_timezones()), 1, 0.6)
            msg = f'wanted an IANA time zone such as "{near[0] if near else "America/New_York"}"'
            raise ValueError(msg) from fault
        return value

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return ZoneInfo(self.timezone)


class Bank(Record):
    """The battery bank (R3, R4)."""

    modules_wh: Annotated[tuple[Positive, ...], Field(min_length=1)]
    reserve_pct: Pct
    level_pct: Pct
    charge_max_w: Positive | None = None
    discharge_max_w: Positive | None = None
    charge_efficiency_pct: PositivePct = 97.0
    discharge_efficiency_pct: PositivePct = 97.0
    chemistry: Chemistry = "lithium"
    nominal_v: Positive | None = None
    lowest_v: Positive | None = None
    cable_awg: WireGauge | None = None
    cable_mm2: Positive | None = None
    cable_m: Positive | None = None
    fuse_a: NotNegative | None = None
    fuse_breaks_a: Positive | None = None
    short_circuit_a: Positive | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        refuse(self._problems())
        return self

    def _problems(self) -> Iterator[str]:
        if self.level_pct < self.reserve_pct:
            yield (
                f"level_pct: {self.level_pct:g} is below reserve_pct {self.reserve_pct:g}, which no plan touches; "
                f"write level_pct = {self.reserve_pct:g} or more, and if the bank shows {self.level_pct:g} now, say so "
                f"beside the file: plan --bank {self.level_pct:g}, or note --bank {self.level_pct:g}"
            )
        if self.nominal_v is not None and self.lowest_v is not None and self.lowest_v > self.nominal_v:
            yield f"lowest_v: {self.lowest_v:g} is above nominal_v {self.nominal_v:g}"
        if self.fuse_a == 0.0 and self.fuse_breaks_a is not None:
            yield "fuse_breaks_a: goes with a fuse; fuse_a = 0 says that there is none"

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
            problem = (
                f"surge_w: {self.surge_w:g} is below continuous_w {self.continuous_w:g}; "
                "wanted the watts that it stands for a moment, in total"
            )
            refuse([problem])
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
    cord_awg: WireGauge | None = None
    cord_mm2: Positive | None = None
    cord_m: Positive | None = None

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
    wanted_rh_pct: Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, lt=100)] | None = None
    room_m3: Positive | None = None
    air_changes_per_h: Positive = 0.5
    litres_per_kwh: Positive = 1.3
    outside: Switch = False

    @model_validator(mode="after")
    def _always_or_duty(self) -> Self:
        refuse((*self._kind_problems(), *self._duty_problems()))
        return self

    def _kind_problems(self) -> Iterator[str]:
        duty = ("hours_per_day", "window", "min_block_h", "wanted_rh_pct")
        duty_keys = [key for key in duty if getattr(self, key) is not None]
        if self.always_on and duty_keys:
            yield f"always_on: true goes without {', '.join(duty_keys)}"
        if not self.always_on and self.hours_per_day is None and self.wanted_rh_pct is None:
            yield (
                "wanted always_on = true, or hours_per_day (with window and min_block_h where they matter), "
                "or wanted_rh_pct for a dehumidifier"
            )
        if self.surge_w is not None and self.surge_w < self.watts:
            yield f"surge_w: {self.surge_w:g} is below watts {self.watts:g}; it is the total while starting"
        yield from self._drying_problems()

    def _drying_problems(self) -> Iterator[str]:
        if self.wanted_rh_pct is not None and self.hours_per_day is not None:
            yield "wanted_rh_pct: its hours follow from the weather; wanted either it or hours_per_day"
        if self.wanted_rh_pct is not None and self.room_m3 is None:
            yield "room_m3: missing; wanted for instance room_m3 = 60 beside wanted_rh_pct"
        for key in ("room_m3", "air_changes_per_h", "litres_per_kwh"):
            if self.wanted_rh_pct is None and key in self.model_fields_set:
                yield f"{key}: goes with wanted_rh_pct, the humidity that a dehumidifier is to keep"

    def _duty_problems(self) -> Iterator[str]:
        if self.window is not None and self.window[0] == self.window[1]:
            yield 'window: wanted two different times; ["00:00", "24:00"] is the whole day'
            return
        most_h = self.window_h if self.hours_per_day is None else self.hours_per_day
        if most_h > self.window_h:
            yield f"hours_per_day: {most_h:g} is more than its window of {self.window_h:g} h"
        if self.min_block_h is not None and self.min_block_h > most_h:
            what = "its window of" if self.hours_per_day is None else "hours_per_day"
            yield f"min_block_h: {self.min_block_h:g} is more than {what} {most_h:g}"

    @property
    def most_hours_per_day(self) -> float:
        """Its hours a day; where they follow from the weather, the whole window [h]."""
        return self.window_h if self.hours_per_day is None else self.hours_per_day

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
