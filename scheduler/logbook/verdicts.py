"""The verdict on each interval between two readings of the bank: expected, actual, and what may be the matter."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.logbook.advice import ADVICE, NOTE_THE_SKY, READ_AGAIN, UNEXPLAINED
from scheduler.logbook.beliefs import READING_PCT, Belief, follow
from scheduler.logbook.causes import Cause
from scheduler.logbook.daysun import QUANTILE_DEVIATIONS
from scheduler.logbook.expectation import Expectation, Reading

#: A cause that is at least this probable stands alone; else the next one is named with it.
ALONE_FRACTION = 0.8

#: The next one is not named if it is less probable than this.
NAMED_FRACTION = 0.15

#: Two causes that together are less probable than this leave it open what is the matter.
CLEAR_FRACTION = 0.6

#: An interval in which the likely sun brings less than this part of the bank is a night.
DARK_FRACTION = 0.01

#: Where more or less sun could change the bank by no more than this, it is no reason for what the bank shows [%].
SUN_MATTERS_PCT = 1.0

#: How far from the band of the three suns a reading is as expected, in standard deviations of two readings.
WITHIN_DEVIATIONS = 2.0

#: A reading that is further than this from all that no sun at all or a clear sky would leave is explained by neither.
BEYOND_DEVIATIONS = 3.0 * 2.0**0.5

#: What a dull sky looks like.
OF_THE_SUN = frozenset((Cause.ARRAY_OFF, Cause.STRING_OFF, Cause.WEAK_ARRAY, Cause.CLIPPED))


@dataclass(frozen=True)
class Named:
    """A cause, how probable it is, and its words."""

    cause: Cause
    odds_fraction: float
    told: str


@dataclass(frozen=True)
class Interval:
    """From one reading of the bank to the next.

    Attributes
    ----------
    since, until : datetime
        In UTC.
    before_pct, after_pct : float
        What the display showed [%].
    expected_pct : dict of str to float
        What it should have shown at the end under each sun [%].
    named : tuple of Named
        One cause, or two that cannot be told apart, the more probable first.
    verdict : str
        In words.
    is_clear : bool
        What is named is probable enough to act on.
    is_explained : bool
        If nothing is the matter, some sky leaves what was shown.
    would_settle : tuple of str
        What to read next where two causes are named, or none explains it.
    """

    since: dt.datetime
    until: dt.datetime
    before_pct: float
    after_pct: float
    expected_pct: dict[str, float]
    named: tuple[Named, ...]
    verdict: str
    is_clear: bool
    is_explained: bool = True
    would_settle: tuple[str, ...] = ()

    @property
    def is_sound(self) -> bool:
        """Whether most probably nothing is the matter, and what was shown is no riddle either."""
        return self.named[0].cause is Cause.NONE and self.is_explained


def judge(expected: Expectation, readings: Sequence[Reading], first_charge_pct: dict[str, float]) -> list[Interval]:
    """Judge every interval; see `beliefs.follow` for the arguments."""
    shown = [reading for reading in readings if reading.bank_pct is not None]
    beliefs = follow(expected, readings, first_charge_pct)
    return [
        _judge(expected, before, after, belief)
        for before, after, belief in zip(shown, shown[1:], beliefs, strict=False)
    ]


def odds_told(fraction: float) -> str:
    """``12 to 1``, ``even``, ``more than 100 to 1``."""
    ratio = fraction / max(1.0 - fraction, 1e-9)
    if ratio > 100.0:
        return "more than 100 to 1"
    if ratio >= 1.5:
        return f"{ratio:.0f} to 1"
    return "even" if ratio > 0.67 else f"1 to {1.0 / max(ratio, 0.01):.0f}"


def _judge(expected: Expectation, before: Reading, after: Reading, belief: Belief) -> Interval:
    first, last = expected.edge_of(before.at), expected.edge_of(after.at)
    before_pct, after_pct = before.bank_pct or 0.0, after.bank_pct or 0.0
    expected_pct = expected.bank_after_pct(first, last, before_pct)
    causes = list(belief.by_cause().items())
    is_alone = causes[0][1] >= ALONE_FRACTION or causes[1][1] < NAMED_FRACTION
    count = 1 if is_alone else 2
    limits_pct = expected.bank_limits_pct(first, last, before_pct)
    sun_wh = expected.grid.energy_wh(expected.suns.likely_w[first:last]).sum()
    is_dark = bool(sun_wh < DARK_FRACTION * expected.yard.bank.capacity_wh)
    named = tuple(
        Named(cause, odds, _told(belief, cause, is_dark, after_pct)) for cause, odds in causes[:count]
    )
    is_explained = named[0].cause is not Cause.NONE or _some_sky_leaves(
        limits_pct, after_pct, 100.0 * float(expected.unsure_wh[first:last].sum()) / expected.yard.bank.capacity_wh
    )
    is_clear = is_explained and sum(one.odds_fraction for one in named) >= CLEAR_FRACTION
    sound = _sound_told(belief, expected_pct, limits_pct, after_pct)
    words = [sound if one.cause is Cause.NONE else one.told for one in named]
    verdict, settle = _verdict(named, words, is_clear), _would_settle(named, bool(after.skies) or is_dark)
    if not is_explained:
        verdict, settle = "; watch for: ".join([UNEXPLAINED, *words[1:]]), (READ_AGAIN,)
    return Interval(
        before.at, after.at, before_pct, after_pct, expected_pct, named, verdict, is_clear, is_explained, settle
    )


def _some_sky_leaves(limits_pct: tuple[float, float], after_pct: float, unsure_pct: float) -> bool:
    """Whether some sky, from none of the sun to all of it, leaves what was shown, as far as displays are right."""
    room_pct = BEYOND_DEVIATIONS * max(READING_PCT, unsure_pct)
    return limits_pct[0] - room_pct <= after_pct <= limits_pct[1] + room_pct


def _would_settle(named: tuple[Named, ...], sky_is_told: bool) -> tuple[str, ...]:
    """What to read next where two causes look alike; the sky first, if it was not noted."""
    if len(named) < 2:
        return ()
    causes = [one.cause for one in named]
    of_sun = any(cause in OF_THE_SUN for cause in causes)
    readings = dict.fromkeys(ADVICE[cause].settled_by for cause in causes if ADVICE[cause].settled_by)
    return (*((NOTE_THE_SKY,) if of_sun and not sky_is_told else ()), *readings)


def _verdict(named: tuple[Named, ...], words: list[str], is_clear: bool) -> str:
    if len(named) == 1:
        return f"{words[0]} ({odds_told(named[0].odds_fraction)})"
    if named[0].cause is Cause.NONE:
        return f"{words[0]} ({odds_told(named[0].odds_fraction)}); watch for: {words[1]}"
    together = sum(one.odds_fraction for one in named)
    if not is_clear:
        return f"not clear yet, most likely {words[0]} or {words[1]} ({odds_told(together)} for one of the two)"
    return f"one of these two: {words[0]}, or {words[1]} ({odds_told(together)} for one of the two)"


def _told(belief: Belief, cause: Cause, is_dark: bool, after_pct: float) -> str:
    one = belief.likeliest(cause)
    about = one.about
    if cause is Cause.EXTRA_LOAD:
        about = f"{about} all night" if is_dark else f"{about} day and night"
    if cause is Cause.ARRAY_OFF and about:
        about = f" from {about}"
    if cause is Cause.METER_STUCK:
        about = f"{after_pct:.0f} %"
    return ADVICE[cause].told.format(about=about)


def _sound_told(
    belief: Belief, expected_pct: dict[str, float], limits_pct: tuple[float, float], after_pct: float
) -> str:
    """Nothing is the matter: was the sun within what was expected, where it matters at all."""
    room_pct, (least_pct, most_pct) = WITHIN_DEVIATIONS * READING_PCT, limits_pct
    dull_pct, bright_pct = expected_pct["dull"], expected_pct["bright"]
    if after_pct < dull_pct - room_pct and dull_pct - least_pct >= SUN_MATTERS_PCT:
        return "less sun than dull"
    if after_pct > bright_pct + room_pct and most_pct - bright_pct >= SUN_MATTERS_PCT:
        return "more sun than bright"
    if most_pct - least_pct >= SUN_MATTERS_PCT and belief.sun_place_deviations < -QUANTILE_DEVIATIONS:
        return "as expected of a dull day"
    return "as expected"
