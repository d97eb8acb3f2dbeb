"""Array to input: volts in cold and heat, amperes, and every way to wire the same panels."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

from scheduler.checkup.clipping import clipping_figures, clipping_findings
from scheduler.checkup.findings import Figure, Finding, Grade, Part, PartReport
from scheduler.checkup.fuses import STRINGS_WITHOUT_FUSES
from scheduler.checkup.inputcase import Case, Limit, Passed, build_case, down, up
from scheduler.checkup.siteyear import SiteYear, record_low_c
from scheduler.checkup.strings import (
    CAUTION,
    LABEL_C,
    Wiring,
    cold_factor_by_table,
    inputs_of,
    is_above,
    wiring_of,
    working_factor,
)
from scheduler.checkup.unknowncold import unknown_cold_findings
from scheduler.units import pct_from_fraction
from scheduler.yard.models import Array, Yard

#: Strings in parallel whose volts differ by more share their sun badly (common practice, no source).
APART_FRACTION = 0.05

_BUILDING_WORDS = {
    "dwelling": "on a dwelling",
    "other_building": "on a building other than a dwelling",
    "off_building": "off buildings",
}
_CURRENT_RULE = "NEC 690.8(A): 1.25 times the short-circuit amperes"
_HEAT_RULE = "fleet file; volts by the coefficient of power"


def check_array_input(yard: Yard, year: SiteYear | None) -> PartReport:
    """Hold the strings of each input against what the input stands, and clipping against the year.

    Parameters
    ----------
    yard : Yard
    year : SiteYear or None
        Without one the working volts are those of the label's 25 C, the open volts too unless the fleet file has
        `record_low_c`, and nothing is said about a year's energy.
    """
    cases = [build_case(yard, year, one) for one in inputs_of(yard)]
    return PartReport(
        tuple(figure for case in cases for figure in _figures(case)),
        (*(finding for case in cases for finding in _findings(case)), *clipping_findings(yard, year)),
        tuple(_unchecked(yard, year, cases)),
    )


def _figures(case: Case) -> Iterator[Figure]:
    most_v = min(case.input.least("input_max_v") or math.inf, case.code_v)
    for place, (array, wiring) in enumerate(zip(case.arrays, case.wirings, strict=True)):
        cold_v, working_v = case.cold_v(array, wiring), case.working_v(place, wiring)
        if cold_v is not None:
            name = f"string volts at {case.coldest_c:g} C, open"
            yield Figure(Part.INPUT, array.name, name, cold_v, "V", most_v, _cold_source(case, array))
        if working_v is not None:
            name = f"string volts at full power, cells at {case.hot_c[place]:.0f} C"
            least_v = case.input.greatest("input_min_v")
            yield Figure(Part.INPUT, array.name, name, working_v, "V", least_v, _HEAT_RULE, at_least=True)
    current_a = case.current_a(case.wirings)
    if current_a is not None:
        name, most_a = "amperes into the input, with the code's 125 %", case.input.least("input_max_a")
        yield Figure(Part.INPUT, case.input.name, name, current_a, "A", most_a, _CURRENT_RULE)
    yield from clipping_figures(case.input, case.year)


def _cold_source(case: Case, array: Array) -> str:
    """The rule that counts, and what the other one would say."""
    if case.low_c is None:
        return "the label; how cold it gets is not known"
    coldest = "" if case.yard.site.record_low_c is not None else ", coldest hour of the typical year"
    wiring = wiring_of(array)
    if array.voc_coeff_pct_per_c is None or wiring is None or array.voc_v is None:
        return f"NEC Table 690.7(A){coldest}"
    by_table_v = wiring.series * array.voc_v * cold_factor_by_table(case.low_c)
    return f"NEC 690.7(A)(1), by coefficient{coldest}; by the code's table {up(by_table_v)} V"


def _findings(case: Case) -> Iterator[Finding]:
    for passed in case.passed(case.wirings):
        yield _TOLD[passed.limit](case, passed)
    yield from unknown_cold_findings(case, _mend(case))
    yield from _uneven(case)
    yield from _ways_note(case)


def _too_high(case: Case, passed: Passed) -> Finding:
    array, wiring = _named(case, passed)
    label_v = wiring.series * (array.voc_v or 0.0)
    summer = (
        "it is too much at 25 C already"
        if is_above(label_v, passed.allowed)
        else f"at 25 C it is {label_v:.0f} V, so nothing shows it before the first cold bright morning"
    )
    return _stop(
        array.name,
        f"{wiring.series} panels in series give {up(passed.found)} V at {case.coldest_c:g} C, more than the "
        f"{passed.allowed:g} V that the input stands",
        passed,
        "V",
        _cold_source(case, array),
        f"Too many volts destroy the controller's input; {summer}.",
        _mend(case),
    )


def _over_code(case: Case, passed: Passed) -> Finding:
    array, wiring = _named(case, passed)
    where = _BUILDING_WORDS[case.yard.site.building]
    return _stop(
        array.name,
        f"{wiring.series} panels in series give {up(passed.found)} V at {case.coldest_c:g} C, more than the "
        f"{passed.allowed:g} V that the code allows {where}",
        passed,
        "V",
        f"NEC 690.7; {_cold_source(case, array)}",
        "Cables, switches and fuses of such places are made for no more, and insurers ask for the code.",
        _mend(case),
    )


def _too_low(case: Case, passed: Passed) -> Finding:
    array, wiring = _named(case, passed)
    label_v = wiring.series * (array.vmp_v or 0.0)
    always = is_above(passed.allowed, label_v)
    hot_c = LABEL_C if always else case.hot_c[passed.place or 0]
    found_v = label_v if always else passed.found
    return Finding(
        Grade.STOP if always else Grade.WARNING,
        Part.INPUT,
        array.name,
        f"{wiring.series} panels in series give {down(found_v)} V with their cells at {hot_c:.0f} C, less than the "
        f"{passed.allowed:g} V with which the input begins to work",
        found_v,
        passed.allowed,
        "V",
        _HEAT_RULE,
        "The array brings little or nothing most of the time."
        if always
        else f"The hotter the sun, the less it brings{_energy_words(case, passed)}.",
        _mend(case),
        CAUTION,
    )


def _energy_words(case: Case, passed: Passed) -> str:
    """How much of the year's energy comes while the volts are too low."""
    if case.year is None or passed.place is None:
        return ""
    array, wiring = _named(case, passed)
    hours = case.year.arrays[case.input.places[passed.place]]
    least_factor = passed.allowed / (wiring.series * (array.vmp_v or math.inf))
    below_wh = sum(
        watts
        for watts, cells_c in zip(hours.panels_w, hours.cells_c, strict=True)
        if working_factor(array, cells_c) < least_factor
    )
    share = pct_from_fraction(below_wh / max(float(hours.panels_w.sum()), 1.0))
    return f"; {share:.1f} % of a year's energy falls into such hours"


def _too_much_current(case: Case, passed: Passed) -> Finding:
    strings = ", ".join(
        f"{wiring.parallel} x {array.isc_a:g} A"
        for array, wiring in zip(case.arrays, case.wirings, strict=True)
        if wiring is not None
    )
    return _stop(
        case.input.name,
        f"Strings in parallel ({strings}) bring up to {up(passed.found)} A with the code's 125 %, more than the "
        f"{passed.allowed:g} A that the input stands",
        passed,
        "A",
        _CURRENT_RULE,
        "Some controllers take only what they stand; but the most amperes an input stands are those it survives, and a "
        "short in it lets all of them flow.",
        _mend(case),
    )


_TOLD: dict[Limit, Callable[[Case, Passed], Finding]] = {
    Limit.MOST_V: _too_high,
    Limit.CODE_V: _over_code,
    Limit.LEAST_V: _too_low,
    Limit.MOST_A: _too_much_current,
}


def _named(case: Case, passed: Passed) -> tuple[Array, Wiring]:
    place = passed.place or 0
    wiring = case.wirings[place]
    assert wiring is not None
    return case.arrays[place], wiring


def _stop(about: str, title: str, passed: Passed, unit: str, source: str, meaning: str, mend: str) -> Finding:
    return Finding(
        Grade.STOP,
        Part.INPUT,
        about,
        title,
        passed.found,
        passed.allowed,
        unit,
        source,
        meaning,
        mend,
        CAUTION,
    )


def _uneven(case: Case) -> Iterator[Finding]:
    """Strings of different volts side by side on one input."""
    wired = [
        (wiring, array) for array, wiring in zip(case.arrays, case.wirings, strict=True) if wiring is not None
    ]
    if len(wired) < 2:
        return
    is_in_volts = all(array.voc_v is not None for _, array in wired)
    sizes = [wiring.series * (array.voc_v or 1.0 if is_in_volts else 1.0) for wiring, array in wired]
    most, limit = max(sizes), min(sizes) * (1.0 + APART_FRACTION)
    if not is_above(most, limit):
        return
    lengths = sorted({wiring.series for wiring, _ in wired})
    volts = f" ({min(sizes):.0f} and {most:.0f} V)" if is_in_volts else ""
    unequal = len(lengths) > 1
    yield Finding(
        Grade.STOP if unequal else Grade.WARNING,
        Part.INPUT,
        case.input.name,
        f"Strings of {' and '.join(map(str, lengths))} panels{volts} lie side by side on one input"
        if unequal
        else f"Strings of {min(sizes):.0f} and {most:.0f} V lie side by side on one input",
        most,
        limit,
        "V" if is_in_volts else "panels",
        "more than 5 % apart; common practice, no source",
        "The input holds one voltage for all of them: the shorter strings give next to nothing while the longer ones "
        "work, and the longer ones can drive current back through them."
        if unequal
        else "The input holds one voltage for all of them, which suits only some: the others give less.",
        _mend(case) if unequal else "An input of its own for each kind of panel.",
        CAUTION,
    )


def _mend(case: Case) -> str:
    """Which ways to wire the same panels the input would take, in a guessed cold if none is known."""
    ways, cold = case.input.ways(), case.in_cold()
    suiting = [way for way in ways if way != case.wirings and not any(cold.passed(way))]
    if not suiting:
        return (
            f"No way to wire these {_panels(case)} panels suits this input: it takes an input that stands more, or "
            "other panels."
        )
    guessed = f" down to {cold.coldest_c:g} C" if case.low_c is None else ""
    far = guessed + ("" if cold.is_all_known else ", as far as the fleet file's figures tell")
    return f"{' or '.join(_way_words(case, way) for way in suiting)} would suit{far}.{_fuse_words(case, suiting)}"


def _fuse_words(case: Case, ways: Sequence[Sequence[Wiring]]) -> str:
    """Many strings side by side want what the present wiring may do without."""
    most = max(sum(wiring.parallel for wiring in way) for way in ways)
    if most <= STRINGS_WITHOUT_FUSES or all(array.fuse_a is not None for array in case.arrays):
        return ""
    return " Three and more strings in parallel want a fuse in each."


def _panels(case: Case) -> int:
    return sum(array.panels for array in case.arrays)


def _way_words(case: Case, way: Sequence[Wiring]) -> str:
    if len(way) == 1:
        return f"{way[0].series} in series x {way[0].parallel} in parallel"
    rows = ", ".join(
        f"{array.name} x {wiring.parallel}" for array, wiring in zip(case.arrays, way, strict=True)
    )
    return f"{way[0].series} in series ({rows})"


def _ways_note(case: Case) -> Iterator[Finding]:
    """Every way to wire the same panels, and what the input says to it."""
    ways = case.input.ways()
    if len(ways) < 2 or not case.is_all_known:
        return
    judged = [(way, "; ".join(passed.words for passed in case.passed(way))) for way in ways]
    suiting = [_way_words(case, way) for way, wrong in judged if not wrong]
    others = [f"{_way_words(case, way)}: {wrong}" for way, wrong in judged if wrong]
    yield Finding(
        Grade.NOTE,
        Part.INPUT,
        case.input.name,
        f"Of {len(ways)} ways to wire these {_panels(case)} panels the input takes "
        f"{'; '.join(suiting) if suiting else 'none'}",
        len(suiting),
        len(ways),
        "ways",
        "NEC 690.7(A), 690.8(A) against the input's figures in the fleet file",
        f"Not: {'. '.join(others)}." if others else "It takes all of them.",
        "Nothing needs mending if the present way is among them. More volts and fewer amperes lose less in the cable.",
        CAUTION,
    )


def _unchecked(yard: Yard, year: SiteYear | None, cases: Sequence[Case]) -> Iterator[str]:
    for case in cases:
        for array, wiring in zip(case.arrays, case.wirings, strict=True):
            yield from _unchecked_volts(case, array, wiring)
        if case.current_a(case.wirings) is None or case.input.least("input_max_a") is None:
            keys = [
                *_missing_wiring(case.wirings),
                *_missing(case.arrays, "isc_a"),
                *(() if case.input.least("input_max_a") else ("input_max_a",)),
            ]
            yield f"amperes into the input of {case.input.name}: {', '.join(keys)}"
    if year is not None and yard.site.record_low_c is None and _missing(yard.arrays, "voc_v") == []:
        yield (
            f"how cold it ever gets: record_low_c in [site]; {record_low_c(yard.site, year):g} C was taken, the "
            "coldest hour of the typical year, which a record low is below"
        )


def _unchecked_volts(case: Case, array: Array, wiring: Wiring | None) -> Iterator[str]:
    keys = [
        *_missing_wiring([wiring]),
        *_missing([array], "voc_v"),
        *(() if case.input.least("input_max_v") else ("input_max_v",)),
        *(() if case.low_c is not None else ("record_low_c in [site]",)),
    ]
    if keys:
        yield f"volts of {array.name} in the cold: {', '.join(keys)}"
    keys = [
        *_missing_wiring([wiring]),
        *_missing([array], "vmp_v"),
        *(() if case.input.greatest("input_min_v") else ("input_min_v",)),
    ]
    if keys:
        yield f"volts of {array.name} in the heat: {', '.join(keys)}"


def _missing_wiring(wirings: Sequence[Wiring | None]) -> list[str]:
    return ["series", "parallel"] if None in wirings else []


def _missing(arrays: Sequence[Array], key: str) -> list[str]:
    return [key] if any(getattr(array, key) is None for array in arrays) else []
