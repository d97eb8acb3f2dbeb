"""Fuses of strings in parallel: where each string needs one, and of what size."""

from __future__ import annotations

from collections.abc import Iterator

from scheduler.checkup.findings import Finding, Grade, Part
from scheduler.checkup.inputcase import down, up
from scheduler.checkup.strings import (
    CAUTION,
    Input,
    Wiring,
    carried_current_a,
    inputs_of,
    is_above,
    sun_current_a,
    wiring_of,
)
from scheduler.yard.models import Array, Yard

#: Two strings can feed only one string's current into each other.
STRINGS_WITHOUT_FUSES = 2

#: Sizes in which fuses for panels are sold (common practice, no source) [A].
FUSES_A = (10.0, 12.0, 15.0, 20.0, 25.0, 30.0)

_NEED_RULE = (
    "NEC 690.9(A): what the other strings can feed back, with 125 %, against the panel's largest fuse"
)
_SIZE_RULE = (
    "NEC 690.9(B): no less than 1.5625 times the short-circuit amperes; no more than the panel's label"
)


def fuse_findings(yard: Yard) -> Iterator[Finding]:
    """Yield where a string needs a fuse and has none, or has one of the wrong size."""
    for one in inputs_of(yard):
        for array, wiring in zip(one.arrays, map(wiring_of, one.arrays), strict=True):
            if wiring is not None and array.fuse_a is None:
                yield from _missing_fuse(one, array)
            if array.fuse_a is not None:
                yield from _wrong_fuse(array, array.fuse_a)


def unchecked_fuses(yard: Yard) -> Iterator[str]:
    """Yield the keys without which fuses cannot be judged."""
    for one in inputs_of(yard):
        for array, wiring in zip(one.arrays, map(wiring_of, one.arrays), strict=True):
            wanted = {
                "series, parallel": wiring is None,
                "isc_a": array.fuse_a is not None and array.isc_a is None,
                "panel_fuse_a": array.fuse_a is not None and array.panel_fuse_a is None,
            }
            keys = [key for key, is_wanted in wanted.items() if is_wanted]
            if keys:
                yield f"the fuses of the strings of {array.name}: {', '.join(keys)}"


def _strings(one: Input) -> list[tuple[Array, Wiring]]:
    """The arrays on an input of which it is known how they are wired."""
    wirings = map(wiring_of, one.arrays)
    return [(array, wiring) for array, wiring in zip(one.arrays, wirings, strict=True) if wiring is not None]


def _fed_back_a(one: Input, array: Array) -> float | None:
    """What all other strings on the input can drive into one string of an array [A]."""
    currents_a = [other.isc_a * wiring.parallel for other, wiring in _strings(one) if other.isc_a is not None]
    if array.isc_a is None or len(currents_a) < len(_strings(one)):
        return None
    return sun_current_a(sum(currents_a) - array.isc_a)


def _missing_fuse(one: Input, array: Array) -> Iterator[Finding]:
    many = sum(wiring.parallel for _, wiring in _strings(one))
    fed_back_a, stands_a = _fed_back_a(one, array), array.panel_fuse_a
    in_amperes = fed_back_a is not None and stands_a is not None
    if fed_back_a is not None and stands_a is not None:
        found, limit = fed_back_a, stands_a
    else:
        found, limit = float(many), float(STRINGS_WITHOUT_FUSES)
    if not is_above(found, limit):
        return
    back = f"{up(fed_back_a)} A" if fed_back_a is not None else f"the current of {many - 1} strings"
    stands = f", which stands {stands_a:g} A" if stands_a is not None else ""
    yield Finding(
        Grade.STOP,
        Part.CABLE,
        array.name,
        f"{many} strings lie in parallel without a fuse in each: the others can drive {back} into a faulty one{stands}",
        found,
        limit,
        "A" if in_amperes else "strings",
        _NEED_RULE,
        "One panel with a short is then heated by all the others, in bright sun until it burns.",
        f"A fuse in each string: {_fuse_words(array)}.",
        CAUTION,
    )


def _wrong_fuse(array: Array, fuse_a: float) -> Iterator[Finding]:
    if array.panel_fuse_a is not None and is_above(fuse_a, array.panel_fuse_a):
        yield Finding(
            Grade.STOP,
            Part.CABLE,
            array.name,
            f"The fuse of {fuse_a:g} A in each string is larger than the {array.panel_fuse_a:g} A that a panel stands",
            fuse_a,
            array.panel_fuse_a,
            "A",
            _SIZE_RULE,
            "It lets a faulty panel burn before it melts.",
            f"Other fuses: {_fuse_words(array)}.",
            CAUTION,
        )
    if array.isc_a is not None and is_above(least_a := carried_current_a(array.isc_a), fuse_a):
        yield Finding(
            Grade.WARNING,
            Part.CABLE,
            array.name,
            f"The fuse of {down(fuse_a)} A in each string is smaller than the {up(least_a)} A that its sun asks for",
            fuse_a,
            least_a,
            "A",
            _SIZE_RULE,
            "It ages and melts in bright sun without a fault, and the string is lost until someone sees it.",
            f"Other fuses: {_fuse_words(array)}.",
            CAUTION,
        )


def _fuse_words(array: Array) -> str:
    """Which size fits between what the sun asks for and what the panel stands."""
    if array.isc_a is None:
        return "no less than 1.5625 times isc_a and no more than the panel's label allows"
    least_a = carried_current_a(array.isc_a)
    fitting = (size_a for size_a in FUSES_A if not is_above(least_a, size_a))
    fuse_a = next(fitting, None)
    if fuse_a is None or (array.panel_fuse_a is not None and is_above(fuse_a, array.panel_fuse_a)):
        return f"none that is sold fits between {up(least_a)} A and the panel's label; ask the panel's maker"
    label = "" if array.panel_fuse_a is not None else ", if the panel's label allows it"
    return f"{fuse_a:g} A, made for direct current{label}"
