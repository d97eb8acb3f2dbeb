"""What chargers lose in a year, beside what the law lets a charger for such a battery lose in its test."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from scheduler.checkup.batteryrates import Alike
from scheduler.checkup.findings import Figure, Finding, Grade, Part
from scheduler.studies.worstmonth import machine_daily_wh
from scheduler.units import kwh_from_wh
from scheduler.yard.models import Machine

#: Battery energies of 10 CFR 430.32(z)'s classes 5 and 6 [Wh], and the volts from which it is class 6 (from memory).
ENERGIES_WH, CLASS_6_FROM_V = (100.0, 3000.0), 20.0

#: Yearly limit of a class: kWh for each Wh of the battery, and kWh on top; 10 CFR 430.32(z), from memory.
LIMITS = {5: (0.0257, 0.815), 6: (0.0778, 2.4)}

_DAYS_PER_YEAR = 365.0


def charger_class(machine: Machine) -> int | None:
    """The class by battery energy and volts, 6 where these are not known; None for smaller and larger batteries."""
    least_wh, most_wh = ENERGIES_WH
    if not least_wh <= machine.capacity_wh <= most_wh:
        return None
    return 6 if machine.battery_v is None or machine.battery_v >= CLASS_6_FROM_V else 5


def yearly_limit_kwh(battery_wh: float, of_class: int) -> float:
    """What a charger may use in a year by its test beyond what the battery gives back [kWh].

    References
    ----------
    10 CFR 430.32(z), classes 5 and 6; coefficients from memory.
    """
    per_wh, on_top = LIMITS[of_class]
    return per_wh * battery_wh + on_top


def yearly_loss_kwh(machine: Machine) -> float:
    """What stays in the charger in a year of the fleet file's weekly needs [kWh]; needs by charge tell no work."""
    yearly_wh = machine_daily_wh(machine) * _DAYS_PER_YEAR
    return kwh_from_wh(yearly_wh * (1.0 / machine.charger_efficiency - 1.0))


def _worst(groups: Sequence[Alike]) -> tuple[Alike, int, float, float] | None:
    """The charger that loses most for its limit, its class, its loss and the limit [kWh]."""
    lossy = (
        (group, of_class, yearly_loss_kwh(group.machine), yearly_limit_kwh(group.machine.capacity_wh, of_class))
        for group in groups
        if (of_class := charger_class(group.machine)) is not None and yearly_loss_kwh(group.machine) > 0.0
    )
    return max(lossy, key=lambda loss: loss[2] / loss[3], default=None)


def _source(machine: Machine, of_class: int) -> str:
    told = f"class {of_class}"
    if machine.battery_v is None:
        below_kwh = yearly_limit_kwh(machine.capacity_wh, 5)
        told += f", taken for {CLASS_6_FROM_V:g} V or more (battery_v); below that class 5, {below_kwh:.0f} kWh"
    return f"10 CFR 430.32(z), {told}; coefficients from memory"


def loss_figures(groups: Sequence[Alike]) -> Iterator[Figure]:
    """Tell of the charger that loses most for its limit."""
    worst = _worst(groups)
    if worst is not None:
        group, of_class, lost_kwh, limit_kwh = worst
        name, source = "lost in its charger in a year of its needs", _source(group.machine, of_class)
        yield Figure(Part.BATTERIES, group.who, name, lost_kwh, "kWh", limit_kwh, source)


def loss_findings(groups: Sequence[Alike]) -> Iterator[Finding]:
    """A note only: the limit is one of a test, which charges less often or more often than a yard does."""
    worst = _worst(groups)
    if worst is None or worst[2] <= worst[3] * (1 + 1e-9):
        return
    group, of_class, lost_kwh, limit_kwh = worst
    machine = group.machine
    fillings = machine_daily_wh(machine) * _DAYS_PER_YEAR / machine.capacity_wh
    yield Finding(
        grade=Grade.NOTE,
        part=Part.BATTERIES,
        about=group.who,
        title=(
            f"The charger of {group.who} loses {lost_kwh:.0f} kWh in a year of its needs; one for "
            f"{machine.capacity_wh:.0f} Wh may use {limit_kwh:.0f} kWh in its test"
        ),
        found=lost_kwh,
        limit=limit_kwh,
        unit="kWh",
        source=_source(machine, of_class),
        meaning=(
            "The limit is for all that a charger uses in a year beyond what the battery gives back, waiting too, with "
            "as many charges as the test takes for usual (from memory). Here it is the needs alone, which fill it "
            f"{fillings:.0f} times a year: it may well be a charger as the law wants it."
        ),
        mend=(
            f"See whether {machine.charger_efficiency_pct:g} % is so (charger_efficiency_pct): a plug-in meter tells "
            "what goes in for what the work takes. If it is, a better charger saves sun."
        ),
    )
