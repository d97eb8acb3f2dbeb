"""The cable between bank and inverter and its fuse: low volts make large amperes, and thin cable burns."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from scheduler.checkup.cables import DROP_LIMIT_PCT, DROP_RULE, Size, size_of, sold_sizes
from scheduler.checkup.findings import Figure, Finding, Grade, Part, PartReport
from scheduler.checkup.inputcase import down, up
from scheduler.checkup.strings import CONTINUOUS_FACTOR, is_above
from scheduler.checkup.wire import voltage_drop_v
from scheduler.units import pct_from_fraction
from scheduler.yard.models import Bank, Yard

BANK_CAUTION = (
    "A bank's short circuit is thousands of amperes, which weld tools to what they touch, burn and start fires, and no "
    "switch makes its own terminals dead: work on it is for people qualified to do it; local code comes first."
)

#: The lowest volts over the nominal ones, where the file has none: 1.75 of a lead-acid cell's 2 V, 2.8 of the 3.2 V of
#: lithium iron phosphate. Common practice, no source.
LOWEST_FRACTION = 0.875

#: Sizes in which fuses and breakers are made: NEC 240.6(A), from memory, up to the thickest cable known here [A].
FUSES_A = (15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300, 350, 400)

_ABOUT = "cable to the inverter"
_CARRY_RULE = "NEC 690.8(B), 706.30: 1.25 times what flows for hours; Table 310.16, 75 C column; all from memory"
_FUSE_RULE = (
    "NEC 690.9(B), 706.31, 240.4: no less than 1.25 times what flows for hours, no more than the cable may carry; from "
    "memory"
)
_BREAK_RULE = "NEC 110.9, from memory; 706.31(C): for direct current, with the interrupting rating that it needs"


def lowest_v(bank: Bank) -> float | None:
    """Volts with which the inverter still gives its watts; None where the file has no volts [V]."""
    if bank.lowest_v is None and bank.nominal_v is not None:
        return LOWEST_FRACTION * bank.nominal_v
    return bank.lowest_v


def drawn_a(yard: Yard) -> float | None:
    """The most amperes that the inverter draws from the bank for good [A]; None where the file has no volts.

    Notes
    -----
    ``continuous watts / (efficiency x lowest volts)``.

    References
    ----------
    NEC (NFPA 70), 690.8(A) on the input of stand-alone inverters, 706.30; from memory.
    """
    volts = lowest_v(yard.bank)
    return None if volts is None else yard.inverter.continuous_w / (yard.inverter.efficiency * volts)


def next_fuse_a(current_a: float) -> float | None:
    """The smallest fuse that is made for no less than a current [A]; None above them all."""
    return next((float(fuse_a) for fuse_a in FUSES_A if not is_above(current_a, fuse_a)), None)


def allowed_fuse_a(size: Size) -> float:
    """The largest fuse for a cable: what it carries, or the next one that is made (NEC 240.4(B), from memory) [A]."""
    return next_fuse_a(size.carries_a) or size.carries_a


def fuse_between_a(carried_a: float, size: Size | None) -> float | None:
    """The smallest fuse for what has to be carried, if the cable allows it [A]; None where none that is made fits."""
    fuse_a = next_fuse_a(carried_a)
    return None if fuse_a is None or (size and is_above(fuse_a, allowed_fuse_a(size))) else fuse_a


def check_bank_cable(yard: Yard) -> PartReport:
    """Check the cable between bank and inverter, and its fuse, as far as the file tells of them. Copper only."""
    run = _Run(yard)
    return PartReport(tuple(_figures(run)), tuple(_findings(run)), tuple(_unchecked(run)))


@dataclass(frozen=True)
class _Run:
    """The cable with what draws through it."""

    yard: Yard

    @property
    def bank(self) -> Bank:
        return self.yard.bank

    @property
    def size(self) -> Size | None:
        return size_of(self.bank)

    @property
    def volts(self) -> float | None:
        return lowest_v(self.bank)

    @property
    def drawn_a(self) -> float | None:
        return drawn_a(self.yard)

    @property
    def carried_a(self) -> float | None:
        """What cable and fuse must be good for [A]."""
        return None if self.drawn_a is None else CONTINUOUS_FACTOR * self.drawn_a

    @property
    def has_fuse(self) -> bool:
        return bool(self.bank.fuse_a)

    @property
    def is_too_thin(self) -> bool:
        size, carried_a = self.size, self.carried_a
        return size is not None and carried_a is not None and is_above(carried_a, size.carries_a)

    def drop_v(self, size: Size | None) -> float | None:
        """Volts lost at full power, there and back [V]."""
        if size is None or self.drawn_a is None or self.bank.cable_m is None:
            return None
        return voltage_drop_v(self.drawn_a, self.bank.cable_m, size.ohm_per_m)

    def drop_pct(self, size: Size | None) -> float | None:
        """The same, of the lowest volts [%]."""
        drop_v = self.drop_v(size)
        return None if drop_v is None or self.volts is None else pct_from_fraction(drop_v / self.volts)

    def thinnest(self, fuse_a: float) -> Size | None:
        """The thinnest cable that carries all that a fuse lets through, and keeps the recommended drop."""
        return next(
            (
                size
                for size in sold_sizes(self.size)
                if not is_above(fuse_a, size.carries_a)
                and not is_above(self.drop_pct(size) or 0.0, DROP_LIMIT_PCT)
            ),
            None,
        )


def _volts_words(bank: Bank) -> str:
    if bank.lowest_v is not None:
        return "lowest_v in the fleet file"
    return f"{pct_from_fraction(LOWEST_FRACTION):g} % of nominal_v: common practice, no source"


def _figures(run: _Run) -> Iterator[Figure]:
    size, bank = run.size, run.bank
    limit_a = None if size is None else size.carries_a
    if run.drawn_a is not None and run.carried_a is not None and run.volts is not None:
        rule = f"continuous_w / (efficiency x lowest volts), NEC 690.8(A), from memory; {_volts_words(bank)}"
        name = f"amperes that the inverter draws at {run.volts:g} V"
        yield Figure(Part.BANK, _ABOUT, name, run.drawn_a, "A", None, rule)
        name = "amperes that the cable must carry"
        yield Figure(Part.BANK, _ABOUT, name, run.carried_a, "A", limit_a, _CARRY_RULE)
    if run.has_fuse and bank.fuse_a is not None:
        most_a = None if size is None else allowed_fuse_a(size)
        yield Figure(Part.BANK, _ABOUT, "fuse or breaker", bank.fuse_a, "A", most_a, _FUSE_RULE)
    drop_v, drop_pct = run.drop_v(size), run.drop_pct(size)
    if drop_v is not None and drop_pct is not None and run.drawn_a is not None:
        name = "voltage drop at full power"
        yield Figure(Part.BANK, _ABOUT, name, drop_pct, "%", DROP_LIMIT_PCT, DROP_RULE)
        name = "lost in the cable at full power"
        yield Figure(Part.BANK, _ABOUT, name, drop_v * run.drawn_a, "W", None, "I^2 R, there and back")


def _findings(run: _Run) -> list[Finding]:
    # Another cable wants another fuse: what would be said of this one is said with the cable.
    fuses = [] if run.is_too_thin else [*_fuse_too_large(run), *_fuse_too_small(run)]
    found = [*_too_thin(run), *_dropped(run), *_no_fuse(run), *fuses, *_fuse_breaks_too_little(run)]
    return found or list(_as_it_is(run))


def _as_it_is(run: _Run) -> Iterator[Finding]:
    """Where nothing is wrong the amperes are told all the same, and the caution with them."""
    size, carried_a, amps = run.size, run.carried_a, run.drawn_a
    if carried_a is None or amps is None:
        return
    cable = "its cable and fuse" if size is None else f"{size.words} copper, which may carry {down(size.carries_a)} A,"
    yield Finding(
        Grade.NOTE,
        Part.BANK,
        _ABOUT,
        f"At full power the inverter draws {up(amps)} A at {run.volts:g} V, for which {cable} must be good for "
        f"{up(carried_a)} A",
        carried_a,
        amps if size is None else size.carries_a,
        "A",
        f"{_CARRY_RULE}; volts: {_volts_words(run.bank)}",
        "Ports on the bank's own side have cables and fuses of their own, which are not looked at here.",
        f"{'' if size is None else 'Nothing needs mending. '}{_thinnest_words(run, carried_a)}.",
        BANK_CAUTION,
    )


def _too_thin(run: _Run) -> Iterator[Finding]:
    size, carried_a, amps, volts = run.size, run.carried_a, run.drawn_a, run.volts
    if size is None or carried_a is None or amps is None or volts is None or not run.is_too_thin:
        return
    inverter, fuse_a = run.yard.inverter, run.bank.fuse_a
    smaller_w = math.floor(size.carries_a / CONTINUOUS_FACTOR * inverter.efficiency * volts / 10.0) * 10
    or_less = f", or an inverter of at most {smaller_w} W" if smaller_w else ""
    protects = bool(fuse_a) and not is_above(fuse_a or 0.0, size.carries_a)
    fuse = f"The fuse of {fuse_a:g} A {'melts first' if protects else 'does not melt first'}. " if fuse_a else ""
    yield Finding(
        Grade.STOP,
        Part.BANK,
        _ABOUT,
        f"{size.words} copper may carry {down(size.carries_a)} A; the inverter's {inverter.continuous_w:g} W draw "
        f"{up(amps)} A at {volts:g} V, which asks for {up(carried_a)} A",
        carried_a,
        size.carries_a,
        "A",
        f"{_CARRY_RULE}; volts: {_volts_words(run.bank)}",
        f"The whole yard at work heats it until its skin melts and burns. {fuse}Bundles, a hot shed, and terminals "
        "that are not marked for 75 C (110.14(C), from memory) lower what it may carry further.",
        f"{_thinnest_words(run, carried_a)}{or_less}.",
        BANK_CAUTION,
    )


def _thinnest_words(run: _Run, carried_a: float) -> str:
    fuse_a = next_fuse_a(carried_a)
    size = None if fuse_a is None else run.thinnest(fuse_a)
    if size is None or fuse_a is None:
        return "No size known here is thick enough: a bank of more volts, or a shorter way"
    return (
        f"{size.words} copper is the thinnest that does, with a fuse or breaker of {fuse_a:g} A, made for direct "
        "current, close to the bank"
    )


def _dropped(run: _Run) -> Iterator[Finding]:
    size, bank = run.size, run.bank
    drop_v, drop_pct = run.drop_v(size), run.drop_pct(size)
    if size is None or drop_v is None or drop_pct is None or not is_above(drop_pct, DROP_LIMIT_PCT):
        return
    if bank.cable_m is None or run.volts is None or run.drawn_a is None or run.carried_a is None:
        return
    shorter_m = math.floor(bank.cable_m * DROP_LIMIT_PCT / drop_pct * 10.0) / 10.0
    or_shorter = f", or no more than {shorter_m:g} m of this one" if shorter_m and not run.is_too_thin else ""
    yield Finding(
        Grade.WARNING,
        Part.BANK,
        _ABOUT,
        f"{bank.cable_m:g} m of {size.words} lose {drop_v:.1f} of {run.volts:g} V at full power, {up(drop_pct)} %",
        drop_pct,
        DROP_LIMIT_PCT,
        "%",
        DROP_RULE,
        f"The cable turns {drop_v * run.drawn_a:.0f} W into heat, and the inverter sees an empty bank and "
        "gives up while there is charge in it, above all when a motor starts.",
        f"{_thinnest_words(run, run.carried_a)}{or_shorter}.",
        BANK_CAUTION,
    )


def _no_fuse(run: _Run) -> Iterator[Finding]:
    if run.bank.fuse_a != 0.0:
        return
    yield Finding(
        Grade.WARNING,
        Part.BANK,
        _ABOUT,
        "There is no fuse between bank and inverter",
        0.0,
        1.0,
        "fuses",
        _FUSE_RULE,
        "A tool that slips, or a cable that rubs through, takes all that the bank can drive until something burns "
        "away. A breaker inside the modules may be there for it: their maker says so, or it is not.",
        f"A fuse or breaker made for direct current, close to the bank: {_fuse_words(run)}.",
        BANK_CAUTION,
    )


def _fuse_words(run: _Run) -> str:
    """Which size fits between what the inverter draws and what the cable carries."""
    if run.carried_a is None:
        most = "the cable may carry" if run.size is None else f"{down(run.size.carries_a)} A"
        return f"no less than 1.25 times what the inverter draws, no more than {most}"
    fuse_a = fuse_between_a(run.carried_a, run.size)
    if fuse_a is None:
        return "none that is made lets the inverter work and keeps this cable whole, so a thicker one first"
    return f"{fuse_a:g} A" if run.size else f"{fuse_a:g} A, if the cable may carry it"


def _fuse_too_large(run: _Run) -> Iterator[Finding]:
    """A stop; the next size that is made above what the cable carries is allowed, and told."""
    size, fuse_a = run.size, run.bank.fuse_a
    if size is None or not fuse_a or not is_above(fuse_a, size.carries_a):
        return
    is_allowed = not is_above(fuse_a, allowed_fuse_a(size))
    yield Finding(
        Grade.NOTE if is_allowed else Grade.STOP,
        Part.BANK,
        _ABOUT,
        f"The fuse of {fuse_a:g} A between bank and inverter is larger than the {down(size.carries_a)} A that "
        f"{size.words} copper may carry",
        fuse_a,
        size.carries_a,
        "A",
        _FUSE_RULE,
        "The code allows the next size that is made (240.4(B), from memory), and this is it."
        if is_allowed
        else "The cable can burn before the fuse melts. Where its insulation and all terminals are good for 90 C it "
        "may carry more (from memory), which someone qualified can say.",
        f"Nothing needs mending; a cable that carries {fuse_a:g} A would have room."
        if is_allowed
        else f"Another fuse or breaker made for direct current: {_fuse_words(run)}.",
        BANK_CAUTION,
    )


def _fuse_too_small(run: _Run) -> Iterator[Finding]:
    carried_a, fuse_a = run.carried_a, run.bank.fuse_a
    if carried_a is None or not fuse_a or not is_above(carried_a, fuse_a):
        return
    yield Finding(
        Grade.WARNING,
        Part.BANK,
        _ABOUT,
        f"The fuse of {down(fuse_a)} A between bank and inverter is smaller than the {up(carried_a)} A that the "
        "inverter asks for",
        fuse_a,
        carried_a,
        "A",
        _FUSE_RULE,
        "It ages and melts while everything runs as planned, and the whole yard is dark until someone sees it.",
        f"Another fuse or breaker made for direct current: {_fuse_words(run)}.",
        BANK_CAUTION,
    )


def _fuse_breaks_too_little(run: _Run) -> Iterator[Finding]:
    breaks_a, short_a = run.bank.fuse_breaks_a, run.bank.short_circuit_a
    if not run.has_fuse or breaks_a is None or short_a is None or not is_above(short_a, breaks_a):
        return
    yield Finding(
        Grade.STOP,
        Part.BANK,
        _ABOUT,
        f"The bank can drive {short_a:g} A into a short circuit; its fuse breaks no more than {breaks_a:g} A",
        short_a,
        breaks_a,
        "A",
        _BREAK_RULE,
        "It bursts, or the arc in it goes on burning, just when it is there to end it.",
        f"A fuse that breaks {short_a:g} A of direct current at the bank's volts, of the same amperes.",
        BANK_CAUTION,
    )


def _unchecked(run: _Run) -> Iterator[str]:
    bank = run.bank

    def missing(*keys: str) -> list[str]:
        return [key for key in keys if getattr(bank, key) is None]

    shared = [*(["nominal_v"] if run.volts is None else []), *(["cable_awg or cable_mm2"] if run.size is None else [])]
    wanted = {
        "the cable between bank and inverter": [*shared, *missing("cable_m")],
        "the fuse between bank and inverter": [*shared, *missing("fuse_a", "fuse_breaks_a", "short_circuit_a")],
    }
    for what, keys in wanted.items():
        if keys and (what.startswith("the cable") or bank.fuse_a != 0.0):
            yield f"{what}: {', '.join(keys)} in [bank]"
