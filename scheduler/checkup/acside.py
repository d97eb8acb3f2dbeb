"""The AC side: chargers at outlets, everybody at once on the inverter, motors that start, cords, the idle draw."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from scheduler.checkup.atonce import Running, alike, listed, worst_chargers, worst_within
from scheduler.checkup.cords import check_cords
from scheduler.checkup.findings import Figure, Finding, Grade, Part, PartReport, put_together
from scheduler.checkup.housedraw import lasting_idle_w
from scheduler.checkup.outlets import MAINS_CAUTION, check_outlets
from scheduler.checkup.siteyear import SiteYear
from scheduler.sun.arraypower import behind_inputs_w
from scheduler.sun.spread import DULL_QUANTILE
from scheduler.units import POWER_TOLERANCE_W, pct_from_fraction
from scheduler.yard.models import HouseLoad, Machine, Yard

#: An idle draw above this part of a dull winter day's sun is told; common practice, no source.
TOLD_IDLE_FRACTION = 0.1

_INVERTER_LABEL = "rule R5: continuous_w in the fleet file, the inverter's data sheet"
_START_LABEL = "rule R5: surge_w of inverter and load in the fleet file, their data sheets"
_HOURS_PER_DAY = 24


def check_ac_side(yard: Yard, year: SiteYear | None) -> PartReport:
    """Check outlets, inverter, starting motors, cords and the idle draw.

    Parameters
    ----------
    yard : Yard
    year : SiteYear or None
        Without it the idle draw is not held against a winter day.
    """
    start = _worst_start(yard)
    inverter = PartReport(
        tuple(_inverter_figures(yard, start)),
        (*_everybody_at_once(yard), *_starts(yard, start)),
        tuple(_not_known(yard)),
    )
    return put_together((check_one_by_one(yard), inverter, _check_idle(yard, year)))


def check_one_by_one(yard: Yard) -> PartReport:
    """Check each charger, outlet and cord by itself, whatever runs beside it: all that can stop a plan, and quick."""
    alone = PartReport(findings=tuple(_never_planned(yard)))
    return put_together((check_outlets(yard), alone, check_cords(yard)))


@dataclass(frozen=True)
class _Start:
    """A motor's start on top of the most that may run beside it [W]."""

    load: HouseLoad
    beside: Running
    always_w: float

    @property
    def watts(self) -> float:
        """What everything draws in that moment [W]."""
        return self.always_w + self.beside.watts + self.load.start_w - self.load.watts

    @property
    def running_w(self) -> float:
        """What everything draws a moment later [W]."""
        return self.always_w + self.beside.watts


def _duty_loads(yard: Yard) -> tuple[HouseLoad, ...]:
    return tuple(load for load in yard.house_loads if not load.always_on)


def _inverter_figures(yard: Yard, start: _Start | None) -> Iterator[Figure]:
    limit_w = yard.inverter.continuous_w
    total_w = sum(load.watts for load in yard.house_loads) + worst_chargers(yard, "ac").watts
    yield Figure(
        Part.AC,
        "",
        "house and all chargers that its outlets take at once",
        total_w,
        "W",
        limit_w,
        _INVERTER_LABEL,
    )
    if start is not None:
        name, limit_w = "start on top of all that runs beside it", yard.inverter.surge_limit_w
        yield Figure(Part.AC, start.load.name, name, start.watts, "W", limit_w, _START_LABEL)


def _not_known(yard: Yard) -> Iterator[str]:
    silent = [load.name for load in yard.house_loads if load.surge_w is None]
    if silent:
        yield (
            f"how much {listed(silent)} draws while it starts, taken as no more than its watts: "
            "surge_w in [[house_loads]]"
        )
    if yard.inverter.surge_w is None:
        yield "what the inverter stands for a moment, taken as its continuous watts: surge_w in [inverter]"


def _never_planned(yard: Yard) -> Iterator[Finding]:
    """Chargers that break R5 alone beside what never stops."""
    inverter, always = yard.inverter, [load for load in yard.house_loads if load.always_on]
    extra_w = max((load.start_w - load.watts for load in always), default=0.0)
    for group in alike([machine for machine in yard.machines if machine.supply == "ac"]):
        running_w = group[0].charger_w + yard.always_on_w
        if running_w > inverter.continuous_w + POWER_TOLERANCE_W:
            yield _too_much(group, running_w, inverter.continuous_w, starting=False)
        elif running_w + extra_w > inverter.surge_limit_w + POWER_TOLERANCE_W:
            yield _too_much(group, running_w + extra_w, inverter.surge_limit_w, starting=True)


def _too_much(group: tuple[Machine, ...], found_w: float, limit_w: float, *, starting: bool) -> Finding:
    charger_w, names = group[0].charger_w, listed([machine.name for machine in group])
    beside = ", one of them starting," if starting else ""
    how_long = "for a moment" if starting else "for good"
    return Finding(
        grade=Grade.STOP,
        part=Part.AC,
        about=group[0].name,
        title=f"{names}: the charger's {charger_w:.0f} W and the loads that are always on{beside} come to "
        f"{found_w:.0f} W; the inverter gives {limit_w:.0f} W {how_long}",
        found=found_w,
        limit=limit_w,
        unit="W",
        source=_START_LABEL if starting else _INVERTER_LABEL,
        meaning="No plan can ever charge it.",
        mend=f"An inverter that gives {found_w:.0f} W {how_long}, or a charger of at most "
        f"{limit_w - found_w + charger_w:.0f} W.",
        caution=MAINS_CAUTION,
    )


def _everybody_at_once(yard: Yard) -> Iterator[Finding]:
    chargers, limit_w = worst_chargers(yard, "ac"), yard.inverter.continuous_w
    house_w = sum(load.watts for load in yard.house_loads)
    found_w = chargers.watts + house_w
    if found_w > limit_w + POWER_TOLERANCE_W:
        plugged = f"{listed(list(chargers.names))} and " if chargers.names else ""
        yield Finding(
            grade=Grade.NOTE,
            part=Part.AC,
            about="",
            title=f"If everybody plugs in at once, {plugged}the house ({house_w:.0f} W) draw {found_w:.0f} W; "
            f"the inverter gives {limit_w:.0f} W for good",
            found=found_w,
            limit=limit_w,
            unit="W",
            source=_INVERTER_LABEL,
            meaning="Plans keep within it. Whoever plugs in more than the page says may switch the whole yard off.",
            mend=f"Keep to the page, or an inverter of {found_w:.0f} W.",
        )


def _worst_start(yard: Yard) -> _Start | None:
    """The motor whose start comes highest, on top of what the outlets and the inverter's watts let run with it."""
    motors = (load for load in yard.house_loads if load.start_w > load.watts)
    return max((_start_of(yard, load) for load in motors), key=lambda start: start.watts, default=None)


def _start_of(yard: Yard, load: HouseLoad) -> _Start:
    others = [other for other in _duty_loads(yard) if other is not load]
    always_w = yard.always_on_w + (0.0 if load.always_on else load.watts)
    everything = worst_chargers(yard, "ac")
    for other in others:
        everything = everything.beside(other.name, other.watts)
    room_w = yard.inverter.continuous_w - always_w + POWER_TOLERANCE_W
    beside = everything if everything.watts <= room_w else worst_within(yard, others, room_w)
    return _Start(load, beside, always_w)


def _starts(yard: Yard, start: _Start | None) -> Iterator[Finding]:
    limit_w = yard.inverter.surge_limit_w
    if start is None or not start.beside.names or start.watts <= limit_w + POWER_TOLERANCE_W:
        return
    room_w = limit_w - (start.watts - start.beside.watts)
    smallest_w = min((machine.charger_w for machine in yard.machines if machine.supply == "ac"), default=0.0)
    kept = (
        f"Plans run no more than {room_w:.0f} W beside it"
        if smallest_w <= room_w
        else "No charger at all may run beside it, which plans see to"
    )
    timer = "" if start.load.always_on else ", or a timer that runs it only when the page says so"
    yield Finding(
        grade=Grade.WARNING,
        part=Part.AC,
        about=start.load.name,
        title=f"{start.load.name} starts with {start.load.start_w:.0f} W; on top of "
        f"{listed(list(start.beside.names))} and what is always on that comes to {start.watts:.0f} W, and the "
        f"inverter stands {limit_w:.0f} W for a moment",
        found=start.watts,
        limit=limit_w,
        unit="W",
        source=_START_LABEL,
        meaning=f"Running, they draw only {start.running_w:.0f} W of its {yard.inverter.continuous_w:.0f} W; it is "
        f"the start that switches the whole yard off. {kept}; what starts by itself, or is plugged in by hand, does "
        "not ask them.",
        mend=f"A soft starter that brings its start down to {start.load.start_w - start.watts + limit_w:.0f} W, "
        f"an inverter that stands {start.watts:.0f} W for a moment{timer}.",
        caution=MAINS_CAUTION,
    )


def _check_idle(yard: Yard, year: SiteYear | None) -> PartReport:
    """Hold the inverter's own draw against the sun of a dull winter day."""
    idle_wh = lasting_idle_w(yard) * _HOURS_PER_DAY
    if not idle_wh:
        return PartReport()
    figure = Figure(
        Part.AC, "", "inverter's idle draw in a day", idle_wh, "Wh", None, "idle_w in the fleet file"
    )
    if year is None:
        return PartReport(
            (figure,), (), ("the idle draw against a dull winter day's sun: typical_year in [site]",)
        )
    sun_wh = dull_winter_day_wh(yard, year)
    sun = Figure(Part.AC, "", "sun of a dull winter day, behind the inputs", sun_wh, "Wh", None, year.source)
    return PartReport((figure, sun), tuple(_idle_findings(idle_wh, sun_wh)))


def dull_winter_day_wh(yard: Yard, year: SiteYear) -> float:
    """What 9 winter days in 10 bring more than, behind the controllers' inputs [Wh].

    Winter is December to February north of the equator, June to August south of it.
    """
    panels_w = behind_inputs_w(yard.arrays, [array.panels_w for array in year.arrays])
    daily_wh = panels_w.reshape(-1, _HOURS_PER_DAY).sum(axis=1)
    months = (12, 1, 2) if yard.site.latitude >= 0.0 else (6, 7, 8)
    is_winter = np.isin(year.month.reshape(-1, _HOURS_PER_DAY)[:, 0], months)
    return float(np.quantile(daily_wh[is_winter], DULL_QUANTILE))


def _idle_findings(idle_wh: float, sun_wh: float) -> Iterator[Finding]:
    if idle_wh <= TOLD_IDLE_FRACTION * sun_wh:
        return
    is_all = idle_wh >= sun_wh
    share = "more than" if is_all else f"{pct_from_fraction(idle_wh / sun_wh):.0f} % of"
    yield Finding(
        grade=Grade.WARNING if is_all else Grade.NOTE,
        part=Part.AC,
        about="",
        title=f"The inverter's idle draw takes {idle_wh:.0f} Wh a day, {share} the {sun_wh:.0f} Wh that a dull "
        "winter day brings",
        found=idle_wh,
        limit=sun_wh if is_all else TOLD_IDLE_FRACTION * sun_wh,
        unit="Wh",
        source="the 10 % quantile of winter days, as plans have it; told from a tenth on: common practice, no source",
        meaning="One winter day in ten is duller still. The idle draw is paid before anything is charged.",
        mend="An inverter that idles with less, a small one for the small loads, or one that is off while nothing runs "
        "(off_when_unused).",
    )
