"""Batteries against what is asked of them: how fast they are charged, and lead-acid how fast it is emptied."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from scheduler.checkup.atonce import listed
from scheduler.checkup.findings import Figure, Finding, Grade, Part
from scheduler.checkup.leadacid import EXPONENT, RATED_H, peukert_hours
from scheduler.yard.figures import Chemistry
from scheduler.yard.models import Machine

#: Watts for each watt-hour with which a battery is usually charged, and from which on cells that are made for energy
#: and not for power are charged too fast: makers of charging circuits and Battery University say "less than 1C".
COMMON_RATE_PER_H, FAST_RATE_PER_H = 0.5, 1.0

FAST_CAUTION = "A battery charged faster than it stands can overheat and burn, with poisonous smoke."


@dataclass(frozen=True)
class Alike:
    """Machines that differ in nothing but their names and how they stand now."""

    names: tuple[str, ...]
    machine: Machine

    @property
    def who(self) -> str:
        """Their names in a sentence."""
        return listed(self.names)

    @property
    def is_lithium(self) -> bool:
        """Taken from its window: what may be charged in frost is lead-acid."""
        return self.machine.charge_temp_c[0] >= 0.0

    @property
    def chemistry(self) -> Chemistry:
        """The same in a bank's words."""
        return "lithium" if self.is_lithium else "lead_acid"

    @property
    def into_battery_w(self) -> float:
        """What the charger puts into the battery at full power [W]."""
        return self.machine.charger_w * self.machine.charger_efficiency

    @property
    def charge_limit_w(self) -> float:
        """What the battery may be charged with by the file, else what is common [W]."""
        return self.machine.battery_charge_max_w or COMMON_RATE_PER_H * self.machine.capacity_wh


def group_alike(machines: Sequence[Machine]) -> tuple[Alike, ...]:
    """Put machines together of which the same is to be said."""
    names: dict[Machine, list[str]] = {}
    as_it_stands = {"name": "any", "outlet": None, "away_until": None, "charge_pct": 0.0}
    for machine in machines:
        names.setdefault(machine.model_copy(update=as_it_stands), []).append(machine.name)
    return tuple(Alike(tuple(alike), machine) for machine, alike in names.items())


def charge_rate_per_h(machine: Machine) -> float:
    """Watts that arrive in the battery for each watt-hour that it holds, known as C [1/h]."""
    return machine.charger_w * machine.charger_efficiency / machine.capacity_wh


def rate_figure(groups: Sequence[Alike]) -> Figure:
    """Tell of the charger that comes nearest to what its battery stands."""
    nearest = max(groups, key=lambda group: group.into_battery_w / group.charge_limit_w)
    return Figure(
        part=Part.BATTERIES,
        about=nearest.who,
        name="charging the hardest for its battery",
        value=nearest.into_battery_w,
        unit="W",
        limit=nearest.charge_limit_w,
        source=_limit_source(nearest.machine),
    )


def _limit_source(machine: Machine) -> str:
    if machine.battery_charge_max_w:
        return "battery_charge_max_w in the fleet file"
    return f"{COMMON_RATE_PER_H:g} C, common practice, no source"


def charging_findings(group: Alike) -> Iterator[Finding]:
    """A stop over the maker's figure, which is a limit; else less, for a battery may well be made for more."""
    most_w, rate_per_h = group.machine.battery_charge_max_w, charge_rate_per_h(group.machine)
    if most_w is not None:
        if group.into_battery_w > most_w * (1 + 1e-9):
            yield _over_the_makers_figure(group, most_w)
    elif rate_per_h > COMMON_RATE_PER_H * (1 + 1e-9):
        yield _over_what_is_usual(group, rate_per_h)


def _over_the_makers_figure(group: Alike, most_w: float) -> Finding:
    return Finding(
        grade=Grade.STOP,
        part=Part.BATTERIES,
        about=group.who,
        title=f"The charger of {group.who} puts {group.into_battery_w:.0f} W into a battery that stands {most_w:g} W",
        found=group.into_battery_w,
        limit=most_w,
        unit="W",
        source=_limit_source(group.machine),
        meaning="It is charged faster than its maker allows, each time until it is nearly full.",
        mend=f"Use the charger that belongs to it, or one that draws no more than {_draw_at_limit_w(group)} W.",
        caution=FAST_CAUTION,
    )


def _over_what_is_usual(group: Alike, rate_per_h: float) -> Finding:
    is_fast = rate_per_h > FAST_RATE_PER_H
    limit_per_h, usual = (FAST_RATE_PER_H, "less than 1 C") if is_fast else (COMMON_RATE_PER_H, "0.5 C")
    return Finding(
        grade=Grade.WARNING if is_fast else Grade.NOTE,
        part=Part.BATTERIES,
        about=group.who,
        title=f"The charger of {group.who} puts {group.into_battery_w:.0f} W into a battery of "
        f"{group.machine.capacity_wh:.0f} Wh, {rate_per_h:.2f} C, where {usual} is usual",
        found=group.into_battery_w,
        limit=limit_per_h * group.machine.capacity_wh,
        unit="W",
        source="Battery University: energy cells at less than 1C"
        if is_fast
        else _limit_source(group.machine),
        meaning="Many batteries age early when they are charged so fast, and some overheat; those of power tools are "
        "often made for it. Charging fast also wants 5 to 45 C (Battery University BU-410).",
        mend="Look up the most that the battery may be charged with and write it down as battery_charge_max_w; a "
        f"charger that draws no more than {_draw_at_limit_w(group)} W is on the safe side.",
        caution=FAST_CAUTION,
    )


def _draw_at_limit_w(group: Alike) -> int:
    return math.floor(group.charge_limit_w / group.machine.charger_efficiency)


def emptying_findings(group: Alike) -> Iterator[Finding]:
    """Work that lead-acid ends early though its label has the energy: plans take the label's word (R12)."""
    machine = group.machine
    usable = 1.0 - machine.floor_wh / machine.capacity_wh
    for need in machine.needs:
        if group.is_lithium or need.hours is None or need.draw_w is None:
            continue
        carried_h = usable * peukert_hours(machine.capacity_wh, need.draw_w)
        if need.hours > carried_h:
            yield Finding(
                grade=Grade.WARNING,
                part=Part.BATTERIES,
                about=group.who,
                title=f"Lead-acid of {machine.capacity_wh:.0f} Wh carries {group.who} for about {carried_h:.1f} h at "
                f"{need.draw_w:g} W, not for the {need.hours:g} h of its work",
                found=need.hours,
                limit=carried_h,
                unit="h",
                source=f"Peukert's relation, exponent {EXPONENT:g}, capacity taken to be for {RATED_H:g} h "
                "(common practice, no source)",
                meaning="The faster it is emptied, the less it gives; a plan takes the label's watt-hours and calls it "
                "ready. It is taken for lead-acid because its charge_temp_c begins below 0 C.",
                mend="Ask less of it, or write down as battery_wh what it gives at that draw: about "
                f"{carried_h / usable * need.draw_w:.0f} Wh. Lithium's charge_temp_c begins at 0.",
            )
