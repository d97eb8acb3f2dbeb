"""What may be the matter with a yard: a small set of named causes, each as what it changes in the yard's physics.

A cause of unknown strength (how many watts, how weak) stands here once for each strength of a grid. Nothing here
decides anything: `beliefs` lets the yard run under each deviation and weighs them by what was read.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

from scheduler.logbook.expectation import Expectation


class Cause(StrEnum):
    """The causes by name."""

    NONE = "as expected"
    EXTRA_LOAD = "a use that the plan does not know"
    ARRAY_OFF = "no solar at all"
    STRING_OFF = "one string off"
    WEAK_ARRAY = "a weak array"
    CLIPPED = "clipped"
    CHARGER_OFF = "a charger that does not charge"
    INVERTER_OFF = "the inverter is off"
    METER_STUCK = "the display is stuck"
    SMALL_BANK = "the bank is smaller than said"


@dataclass(frozen=True)
class Deviation:
    """One cause at one strength, as what it changes.

    Attributes
    ----------
    cause : Cause
    about : str
        Which charger, which array, how many watts; empty where there is nothing to add.
    prior_fraction : float
        How often it is this one when something is the matter.
    array_fraction : tuple of float
        What each array still gives.
    sun_limit_w : float
        What all arrays together give at most [W].
    extra_w : float
        What is taken from the bank's side besides [W].
    ac_on : bool
    dead_charger : str or None
    capacity_fraction : float
        The bank's capacity over that in the file.
    is_stuck : bool
        The display shows what it showed.
    """

    cause: Cause
    prior_fraction: float
    array_fraction: tuple[float, ...]
    about: str = ""
    sun_limit_w: float = math.inf
    extra_w: float = 0.0
    ac_on: bool = True
    dead_charger: str | None = None
    capacity_fraction: float = 1.0
    is_stuck: bool = False


#: How often each cause is the matter when something is. A guess, no source: what stands outside, with its plugs, shade
#: and dirt, goes wrong most. Of a string and a weak array neither may hide the other, see DEVELOPERS.md.
PRIOR_FRACTION = {
    Cause.EXTRA_LOAD: 0.15,
    Cause.ARRAY_OFF: 0.11,
    Cause.STRING_OFF: 0.155,
    Cause.WEAK_ARRAY: 0.305,
    Cause.CLIPPED: 0.04,
    Cause.CHARGER_OFF: 0.10,
    Cause.INVERTER_OFF: 0.05,
    Cause.METER_STUCK: 0.045,
    Cause.SMALL_BANK: 0.045,
}

EXTRA_W = (40.0, 60.0, 90.0, 135.0, 200.0, 300.0, 450.0, 700.0)
WEAK_FRACTION = (0.3, 0.34, 0.38, 0.42, 0.46, 0.5, 0.54, 0.58, 0.62, 0.66, 0.7, 0.74, 0.8)
LIMIT_FRACTION = (0.25, 0.35, 0.45, 0.55, 0.65, 0.75)
CAPACITY_FRACTION = (0.5, 0.6, 0.7, 0.8)


def deviations_of(expected: Expectation) -> tuple[Deviation, ...]:
    """Everything that may be the matter with a yard, first of all nothing.

    A charger that is plugged in at no time of the expectation cannot be known to be off, so it is left out.
    """
    whole = (1.0,) * len(expected.yard.arrays)
    return (Deviation(Cause.NONE, 0.0, whole), *_spread(list(_strengths(expected, whole))))


def _strengths(expected: Expectation, whole: tuple[float, ...]) -> Iterator[Deviation]:
    """Each cause at each strength; `prior_fraction` is a weight within the cause."""
    yard = expected.yard
    nothing = (0.0,) * len(whole)
    most_w = float(expected.suns.bright_w.max())
    for watts in EXTRA_W:
        yield Deviation(Cause.EXTRA_LOAD, 1.0, whole, about=f"{watts:.0f} W", extra_w=watts)
    yield Deviation(Cause.ARRAY_OFF, 1.0, nothing)
    for number, array in enumerate(yard.arrays):
        strings = array.parallel or min(array.panels, 2)
        if strings > 1:
            left = (*whole[:number], 1.0 - 1.0 / strings, *whole[number + 1 :])
            known = f"one of {strings}" if array.parallel else f"one of {strings}, a guess: the file names no strings"
            yield Deviation(Cause.STRING_OFF, 1.0, left, about=f"{array.name}, {known}")
        if len(whole) > 1:
            left = (*whole[:number], 0.0, *whole[number + 1 :])
            yield Deviation(Cause.ARRAY_OFF, 0.5, left, about=array.name)
    for fraction in WEAK_FRACTION:
        left = (fraction,) * len(whole)
        yield Deviation(Cause.WEAK_ARRAY, 1.0, left, about=f"{100 * fraction:.0f} %")
    for fraction in LIMIT_FRACTION if most_w > 0.0 else ():
        limit_w = fraction * most_w
        yield Deviation(Cause.CLIPPED, 1.0, whole, about=f"{limit_w:.0f} W", sun_limit_w=limit_w)
    for machine, drawn_wh in zip(yard.machines, expected.wall_wh.sum(axis=0), strict=True):
        if drawn_wh > 0.0:
            yield Deviation(Cause.CHARGER_OFF, 1.0, whole, about=machine.name, dead_charger=machine.name)
    yield Deviation(Cause.INVERTER_OFF, 1.0, whole, ac_on=False)
    yield Deviation(Cause.METER_STUCK, 1.0, whole, is_stuck=True)
    for fraction in CAPACITY_FRACTION:
        yield Deviation(
            Cause.SMALL_BANK, 1.0, whole, about=f"{100 * fraction:.0f} %", capacity_fraction=fraction
        )


def _spread(strengths: list[Deviation]) -> Iterator[Deviation]:
    """Share each cause's prior among its strengths, by their weights."""
    weights: dict[Cause, float] = {}
    for one in strengths:
        weights[one.cause] = weights.get(one.cause, 0.0) + one.prior_fraction
    total = sum(PRIOR_FRACTION[cause] for cause in weights)
    for one in strengths:
        share = PRIOR_FRACTION[one.cause] / total * one.prior_fraction / weights[one.cause]
        yield replace(one, prior_fraction=share)
