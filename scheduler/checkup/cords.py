"""Extension cords that stay on an outlet: the current that they carry, and the volts that they lose."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from scheduler.checkup.atonce import takes
from scheduler.checkup.findings import Figure, Finding, Grade, Part, PartReport
from scheduler.checkup.wire import area_mm2, resistance_ohm_per_m, size_words, voltage_drop_v
from scheduler.units import fraction_from_pct, pct_from_fraction
from scheduler.yard.models import Machine, Outlet, Yard

#: Recommended most drop of a branch circuit, and of feeder and branch together (NEC, informational note to 210.19) [%].
BRANCH_DROP_PCT, TOTAL_DROP_PCT = 3.0, 5.0

#: Amperes of flexible cords with two conductors that carry current, by gauge: NEC Table 400.5(A)(1), from memory [A].
_GAUGE_AMPACITIES_A = {"18": 10.0, "16": 13.0, "14": 18.0, "12": 25.0, "10": 30.0, "8": 40.0, "6": 55.0}

#: The same of metric cords by mm2: what they are sold for, common practice, from memory [A].
_MM2_AMPACITIES_A = {0.75: 6.0, 1.0: 10.0, 1.5: 16.0, 2.5: 25.0, 4.0: 32.0, 6.0: 40.0}

_ROUNDING_FRACTION = 1e-9
_AMPACITY_SOURCE = "NEC Table 400.5(A)(1), from memory"
_MM2_SOURCE = "what cords of this size are sold for: common practice, from memory"
_DROP_SOURCE = "NEC informational note to 210.19; Chapter 9 Table 8 at 75 C"
_POWER_FACTOR = (
    "Worked out with a power factor of 1; simple chargers draw half as many amperes more (common practice, no "
    "source)."
)
_CORD_CAUTION = (
    "A cord that carries too much gets hot enough to burn, coiled or covered above all: unplug it first, and do not "
    "use one again that was warm, soft or brown."
)


@dataclass(frozen=True)
class _Cord:
    """A cord with the largest charger that may hang on it."""

    outlet: Outlet
    machine: Machine
    length_m: float

    @property
    def current_a(self) -> float:
        return self.machine.charger_w / self.outlet.volts

    @property
    def limit_a(self) -> float:
        return cord_ampacity_a(self.outlet.cord_awg, self.outlet.cord_mm2)

    @property
    def drop_pct(self) -> float:
        return self.drop_pct_with(self.outlet.cord_awg, self.outlet.cord_mm2)

    def drop_pct_with(self, awg: str | None, mm2: float | None) -> float:
        ohm_per_m = resistance_ohm_per_m(awg, mm2)
        return pct_from_fraction(voltage_drop_v(self.current_a, self.length_m, ohm_per_m) / self.outlet.volts)

    @property
    def size(self) -> str:
        return size_words(self.outlet.cord_awg, self.outlet.cord_mm2)


def cord_ampacity_a(awg: str | None, mm2: float | None) -> float:
    """Current that a flexible cord of two conductors may carry [A]; 0 below the thinnest size of the table.

    A size between two of the table counts as the thinner one, one above all as the thickest. The plug may stand
    less: 15 A on the usual cord of 14 AWG.

    Raises
    ------
    ValueError
        If no size is given.

    References
    ----------
    NEC (NFPA 70), Table 400.5(A)(1), from memory; metric cords as they are sold, common practice, from memory.
    """
    area = area_mm2(awg, mm2) * (1.0 + _ROUNDING_FRACTION)
    if awg is not None:
        carried = [amps for gauge, amps in _GAUGE_AMPACITIES_A.items() if area_mm2(gauge, None) <= area]
    else:
        carried = [amps for size, amps in _MM2_AMPACITIES_A.items() if size <= area]
    return max(carried, default=0.0)


def check_cords(yard: Yard) -> PartReport:
    """Check each outlet's cord with the largest charger that may be plugged in there."""
    cords, unchecked = [], []
    for outlet in yard.outlets:
        has_size = outlet.cord_awg is not None or outlet.cord_mm2 is not None
        fitting = [machine for machine in yard.machines if takes(outlet, machine)]
        if has_size and outlet.cord_m is not None and fitting:
            largest = max(fitting, key=lambda machine: machine.charger_w)
            cords.append(_Cord(outlet, largest, outlet.cord_m))
        elif has_size != (outlet.cord_m is not None):
            keys = "cord_m" if has_size else "cord_awg or cord_mm2"
            unchecked.append(f"the cord at {outlet.name}: {keys} in [[outlets]]")
    findings = tuple(finding for cord in cords for finding in _findings(cord))
    return PartReport(tuple(_figures(cords)), findings, tuple(unchecked))


def _figures(cords: list[_Cord]) -> Iterator[Figure]:
    if cords:
        weak = max(cords, key=lambda cord: cord.drop_pct)
        name = f"volts lost in the cord with {weak.machine.name}"
        yield Figure(Part.AC, weak.outlet.name, name, weak.drop_pct, "%", BRANCH_DROP_PCT, _DROP_SOURCE)
        hot = max(cords, key=lambda cord: cord.current_a - cord.limit_a)
        name = f"amperes in the cord with {hot.machine.name}"
        yield Figure(Part.AC, hot.outlet.name, name, hot.current_a, "A", hot.limit_a, _ampacity_source(hot))


def _findings(cord: _Cord) -> Iterator[Finding]:
    if cord.current_a > cord.limit_a:
        yield _too_hot(cord)
    if cord.drop_pct > BRANCH_DROP_PCT:
        yield _too_long(cord)


def _ampacity_source(cord: _Cord) -> str:
    return _AMPACITY_SOURCE if cord.outlet.cord_awg is not None else _MM2_SOURCE


def _too_hot(cord: _Cord) -> Finding:
    stands = f"stands {cord.limit_a:g} A" if cord.limit_a else "is thinner than any that is allowed"
    return Finding(
        grade=Grade.STOP,
        part=Part.AC,
        about=cord.outlet.name,
        title=f"The cord at {cord.outlet.name} ({cord.size}) {stands}; {cord.machine.name} "
        f"draws {cord.current_a:.1f} A through it",
        found=cord.current_a,
        limit=cord.limit_a,
        unit="A",
        source=_ampacity_source(cord),
        meaning=f"The cord gets hot, and the breaker need not trip. {_POWER_FACTOR}",
        mend=_better(cord),
        caution=_CORD_CAUTION,
    )


def _too_long(cord: _Cord) -> Finding:
    is_over_all = cord.drop_pct > TOTAL_DROP_PCT
    lost_w = fraction_from_pct(cord.drop_pct) * cord.machine.charger_w
    shorter_m = cord.length_m * BRANCH_DROP_PCT / cord.drop_pct
    return Finding(
        grade=Grade.WARNING if is_over_all else Grade.NOTE,
        part=Part.AC,
        about=cord.outlet.name,
        title=f"The cord at {cord.outlet.name} ({cord.size}, {cord.length_m:g} m) loses "
        f"{cord.drop_pct:.1f} % of the volts with {cord.machine.name} (3 % for a circuit, 5 % in all)",
        found=cord.drop_pct,
        limit=TOTAL_DROP_PCT if is_over_all else BRANCH_DROP_PCT,
        unit="%",
        source=_DROP_SOURCE,
        meaning=f"The fixed wiring loses some more. {lost_w:.0f} W warm the cord, and a charger that sees few volts "
        f"draws more amperes or stops. {_POWER_FACTOR}",
        mend=f"{_better(cord)[:-1]}, or no more than {shorter_m:.1f} m of this one.",
        caution=_CORD_CAUTION if is_over_all else "",
    )


def _better(cord: _Cord) -> str:
    """The thinnest cord of the table that would do."""
    sizes: list[tuple[str | None, float | None]] = (
        [(gauge, None) for gauge in _GAUGE_AMPACITIES_A]
        if cord.outlet.cord_awg is not None
        else [(None, size) for size in _MM2_AMPACITIES_A]
    )
    for awg, mm2 in sizes:
        if cord_ampacity_a(awg, mm2) >= cord.current_a and cord.drop_pct_with(awg, mm2) <= BRANCH_DROP_PCT:
            return f"A cord of {size_words(awg, mm2)}."
    return "An outlet nearer to the machine."
