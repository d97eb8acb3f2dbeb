"""The cable from an array to its controller, all strings together: what it loses and what it carries."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from scheduler.checkup.findings import Figure, Finding, Grade, Part, PartReport
from scheduler.checkup.fuses import fuse_findings, unchecked_fuses
from scheduler.checkup.inputcase import up
from scheduler.checkup.siteyear import ArrayYear, SiteYear
from scheduler.checkup.strings import CAUTION, Wiring, carried_current_a, is_above, sun_current_a, wiring_of
from scheduler.checkup.wire import (
    GAUGES,
    METRIC_MM2,
    ampacity_a,
    area_mm2,
    connector_a,
    resistance_ohm_per_m,
    size_words,
    voltage_drop_v,
)
from scheduler.units import fraction_from_pct, kwh_from_wh, pct_from_fraction
from scheduler.yard.models import Array, Bank, Yard

#: NEC, informational note to 210.19: a recommendation, which it makes for branch circuits.
DROP_LIMIT_PCT = 3.0

#: How many sizes beside the cable's own are listed.
_THICKER_SIZES = 2

#: What volts lost in a cable are held against.
DROP_RULE = "NEC Chapter 9 Table 8, copper at 75 C; 3 % recommended by the informational note to 210.19"

_CARRY_RULE = "NEC 690.8(B): 1.5625 times the short-circuit amperes; Table 310.16, 75 C column, from memory"


@dataclass(frozen=True)
class Size:
    """A size of copper, as gauge or in square millimetres; see `scheduler.checkup.wire`."""

    awg: str | None
    mm2: float | None

    @property
    def words(self) -> str:
        """``10 AWG``, ``6 mm2``."""
        return size_words(self.awg, self.mm2)

    @property
    def ohm_per_m(self) -> float:
        """One conductor of it, 75 C warm [ohm/m]."""
        return resistance_ohm_per_m(self.awg, self.mm2)

    @property
    def carries_a(self) -> float:
        """What it may carry for good [A]."""
        return ampacity_a(self.awg, self.mm2)

    @property
    def area(self) -> float:
        """Its cross-section [mm2]."""
        return area_mm2(self.awg, self.mm2)


def size_of(told: Array | Bank) -> Size | None:
    """The cable's size as the fleet file has it; None where it has none."""
    if told.cable_awg is None and told.cable_mm2 is None:
        return None
    return Size(told.cable_awg, told.cable_mm2)


def sold_sizes(own: Size | None) -> list[Size]:
    """Those that are sold, thin to thick: in square millimetres if the cable's own is in them, else gauges."""
    if own is not None and own.awg is None:
        return [Size(None, mm2) for mm2 in METRIC_MM2]
    return [Size(awg, None) for awg in GAUGES]


def drop_fraction(array: Array, wiring: Wiring, size: Size) -> float | None:
    """Voltage drop at full power over the string's volts, there and back; None where a label's figure is missing."""
    if array.cable_m is None or array.imp_a is None or array.vmp_v is None:
        return None
    drop_v = voltage_drop_v(array.imp_a * wiring.parallel, array.cable_m, size.ohm_per_m)
    return drop_v / (array.vmp_v * wiring.series)


def yearly_loss_kwh(array: Array, wiring: Wiring, size: Size, hours: ArrayYear) -> float:
    """What the cable turns into heat in the year [kWh].

    Notes
    -----
    ``I^2 R`` over the hours, ``I`` the panels' watts over the string's volts of the label, the copper always 75 C warm:
    a little more than will be.
    """
    if array.cable_m is None or array.vmp_v is None:
        return 0.0
    current_a = hours.panels_w / (array.vmp_v * wiring.series)
    # By the hour, so the sum of watts is watt-hours.
    return kwh_from_wh(float((current_a**2).sum()) * 2.0 * array.cable_m * size.ohm_per_m)


def check_cables(yard: Yard, year: SiteYear | None) -> PartReport:
    """Check each array's cable, its plugs, and the fuses of strings in parallel. Copper only.

    Parameters
    ----------
    yard : Yard
    year : SiteYear or None
        Without one the yearly loss is left out.
    """
    runs = [
        _Run(array, wiring_of(array), None if year is None else year.arrays[place])
        for place, array in enumerate(yard.arrays)
    ]
    return PartReport(
        tuple(figure for run in runs for figure in _figures(run)),
        (*(finding for run in runs for finding in _findings(run)), *fuse_findings(yard)),
        (*(text for run in runs for text in _unchecked(run)), *unchecked_fuses(yard)),
    )


@dataclass(frozen=True)
class _Run:
    """A cable with what hangs on it."""

    array: Array
    wiring: Wiring | None
    hours: ArrayYear | None

    @property
    def size(self) -> Size | None:
        return size_of(self.array)

    @property
    def sizes(self) -> list[Size]:
        return sold_sizes(self.size)

    @property
    def carried_a(self) -> float | None:
        """What the cable must be good for [A]."""
        if self.wiring is None or self.array.isc_a is None:
            return None
        return carried_current_a(self.array.isc_a * self.wiring.parallel)

    def drop_pct(self, size: Size | None) -> float | None:
        """Voltage drop in such a cable [%]."""
        if self.wiring is None or size is None:
            return None
        fraction = drop_fraction(self.array, self.wiring, size)
        return None if fraction is None else pct_from_fraction(fraction)

    def suits(self, size: Size) -> bool:
        """Whether such a cable keeps the recommended drop and carries the current, as far as figures are known."""
        drop_pct = self.drop_pct(size)
        too_thin = self.carried_a is not None and is_above(self.carried_a, size.carries_a)
        return not too_thin and (drop_pct is None or not is_above(drop_pct, DROP_LIMIT_PCT))

    def mend(self) -> str:
        """The thinnest size that suits."""
        suiting = next((size for size in self.sizes if self.suits(size)), None)
        if suiting is None:
            return "No common size is thick enough: more panels in series, where the input stands it, or a shorter way."
        drop = "keeps 3 %" if self.drop_pct(suiting) is not None else ""
        current = "carries the current" if self.carried_a is not None else ""
        return f"{suiting.words} copper is the thinnest that {' and '.join(filter(None, (drop, current)))}."

    def candidates(self) -> str:
        """``10 AWG 2.1 % (14 kWh a year), 8 AWG 1.3 % (9 kWh a year)``, its own size first."""
        own = self.size
        thicker = [size for size in self.sizes if own is None or size.area > own.area * 1.001]
        if own is None:
            first = next((place for place, size in enumerate(thicker) if self.suits(size)), len(thicker))
            thicker = thicker[max(first - 1, 0) :]
        listed = [*([own] if own else []), *thicker[: _THICKER_SIZES + (own is None)]]
        return ", ".join(self._in_words(size) for size in listed)

    def _in_words(self, size: Size) -> str:
        energy = ""
        if self.hours is not None and self.wiring is not None:
            energy = f" ({yearly_loss_kwh(self.array, self.wiring, size, self.hours):.0f} kWh a year)"
        return f"{size.words} {up(self.drop_pct(size) or 0.0)} %{energy}"


def _figures(run: _Run) -> Iterator[Figure]:
    name, size = run.array.name, run.size
    drop_pct = run.drop_pct(size)
    if drop_pct is not None:
        yield Figure(
            Part.CABLE, name, "voltage drop at full power", drop_pct, "%", DROP_LIMIT_PCT, DROP_RULE
        )
    if drop_pct is not None and size is not None and run.wiring is not None and run.hours is not None:
        loss_kwh = yearly_loss_kwh(run.array, run.wiring, size, run.hours)
        yield Figure(
            Part.CABLE, name, "lost in the cable in a year", loss_kwh, "kWh", None, "I^2 R, typical year"
        )
    if run.carried_a is not None:
        limit_a = None if size is None else size.carries_a
        yield Figure(
            Part.CABLE, name, "amperes that the cable must carry", run.carried_a, "A", limit_a, _CARRY_RULE
        )


def _findings(run: _Run) -> Iterator[Finding]:
    yield from _dropped(run)
    yield from _too_thin(run)
    yield from _plugs(run)


def _dropped(run: _Run) -> Iterator[Finding]:
    """Too much voltage drop, or what thicker cables would save."""
    array, size = run.array, run.size
    shown = size or next((one for one in run.sizes if run.suits(one)), run.sizes[-1])
    drop_pct = run.drop_pct(shown)
    if drop_pct is None or run.wiring is None or array.vmp_v is None:
        return
    is_too_much = size is not None and is_above(drop_pct, DROP_LIMIT_PCT)
    string_v = array.vmp_v * run.wiring.series
    drop_v = fraction_from_pct(drop_pct) * string_v
    verb = "loses" if size else "would lose"
    yield Finding(
        Grade.WARNING if is_too_much else Grade.NOTE,
        Part.CABLE,
        array.name,
        f"{array.cable_m:g} m of {shown.words} {verb} {drop_v:.1f} of {string_v:.1f} V at full power, {up(drop_pct)} %",
        drop_pct,
        DROP_LIMIT_PCT,
        "%",
        DROP_RULE,
        f"By size, at full power: {run.candidates()}. The file's losses_pct should hold it.",
        run.mend() if is_too_much or size is None else f"Nothing needs mending. {run.mend()}",
        CAUTION,
    )


def _too_thin(run: _Run) -> Iterator[Finding]:
    size, carried_a = run.size, run.carried_a
    if size is None or carried_a is None or not is_above(carried_a, size.carries_a):
        return
    yield Finding(
        Grade.STOP,
        Part.CABLE,
        run.array.name,
        f"{size.words} copper may carry {size.carries_a:g} A; all strings together ask for {up(carried_a)} A",
        carried_a,
        size.carries_a,
        "A",
        _CARRY_RULE,
        "A cable that carries more gets hot where nobody sees it. A hot roof, bundles, and terminals that are not "
        "marked for 75 C (110.14(C), from memory) lower what it may carry further.",
        run.mend(),
        CAUTION,
    )


def _plug_a(array: Array) -> float | None:
    if array.connector_a is not None or (array.cable_awg is None and array.cable_mm2 is None):
        return array.connector_a
    return connector_a(array.cable_awg, array.cable_mm2)


def _plugs(run: _Run) -> Iterator[Finding]:
    array, wiring, plug_a = run.array, run.wiring, _plug_a(run.array)
    if wiring is None or array.isc_a is None or plug_a is None:
        return
    through_a = sun_current_a(array.isc_a * wiring.parallel)
    if not is_above(through_a, plug_a):
        return
    rated = (
        "connector_a in the fleet file"
        if array.connector_a is not None
        else "what is common for plugs on such a cable, 20, 30 and 40 A on 14, 12 and 10 AWG"
    )
    most = int(plug_a * (1.0 + 1e-9) / sun_current_a(array.isc_a))
    few = f"no more than {most} of these strings" if most else "none of these strings"
    yield Finding(
        Grade.STOP,
        Part.CABLE,
        array.name,
        f"Strings of {array.isc_a:g} A, {wiring.parallel} in parallel, bring up to {up(through_a)} A through plugs "
        f"that stand {plug_a:g} A",
        through_a,
        plug_a,
        "A",
        f"NEC 690.8(A): 1.25 times the short-circuit amperes; {rated}",
        "Plugs and branch plugs that carry more than they are made for char, melt and can set fire to what is near.",
        f"One pair of plugs should carry {few}: plugs and branches of {up(through_a)} A or more, a combiner box with "
        "terminals, or a cable for each string; or more panels in series, where the input stands it.",
        CAUTION,
    )


def _unchecked(run: _Run) -> Iterator[str]:
    array = run.array
    wiring = ["series", "parallel"] if run.wiring is None else []
    size = ["cable_awg or cable_mm2"] if run.size is None else []

    def missing(*keys: str) -> list[str]:
        return [key for key in keys if getattr(array, key) is None]

    wanted = {
        "voltage drop in the cable of": [*wiring, *size, *missing("cable_m", "imp_a", "vmp_v")],
        "what has to be carried by the cable of": [*wiring, *size, *missing("isc_a")],
        "the plugs that carry all strings of": [
            *wiring,
            *missing("isc_a"),
            *(["connector_a"] if _plug_a(array) is None else []),
        ],
    }
    for what, keys in wanted.items():
        if keys:
            yield f"{what} {array.name}: {', '.join(keys)}"
