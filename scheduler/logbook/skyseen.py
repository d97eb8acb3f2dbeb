"""What the sky that the hand saw says of a day's sun.

A word weighs the places of the day's sun, and how the day's sun lies between its morning and its afternoon: both are
unknown, and the clearness of the time that the word is about follows from them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.logbook.daysun import PLACES, bridge_wh, half_day_fraction, sun_at_w
from scheduler.logbook.expectation import Expectation
from scheduler.sun.skyterms import SKY_TERMS, SkySpell
from scheduler.timegrid import FloatArray

#: Shares of the clear sky's irradiation at which each word gives way to the next, and how far half days stray across
#: them, one standard deviation: fitted to the opaque cloud of half days in three typical years,
#: ``python -m tests.benchmarks.calibration`` prints it.
PASSES_FRACTION, STRAYS_FRACTION = (1.065, 0.942, 0.703, 0.469), 0.106

#: How far all words of a place lie from those, for its clear sky is not quite the one that is reckoned with: the passes
#: of the three years by themselves lie up to 0.09 off, 0.05 in the mean.
PLACES_DIFFER_FRACTION = 0.05

#: How often somebody says the next word, up or down, to the one that the sky has by its oktas. A guess, no source.
SLIP_FRACTION = 0.2

#: A time with less than this part of its day's clear sun tells nothing.
LEAST_PART = 0.1

#: How alike the half days of a day stray from what their words usually bring (Greensboro's typical year: 0.51), so that
#: the second word of a day tells less than the first.
ALIKE_FRACTION = 0.5

#: Nothing that was said is less likely than this.
LEAST_ODDS = 1e-3

#: How far the day's sun leans to its morning, in standard deviations: points and weights of a normal variable.
LEANS, _WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
LEAN_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()


@dataclass(frozen=True)
class Told:
    """What words say of a part of a day, arrays of shape (n_places,).

    Attributes
    ----------
    likely_fraction : ndarray
        How likely the words are at each place of the sun.
    lean_deviations, lean_variance : ndarray
        Which way the day leans to its morning: mean and variance, 0 and 1 where no word tells.
    """

    likely_fraction: FloatArray
    lean_deviations: FloatArray
    lean_variance: FloatArray


def word_odds(clearness_fraction: FloatArray) -> FloatArray:
    """How likely each word is under a sky of a clearness, shape (n_terms, ...).

    Notes
    -----
    An ordered probit: P. McCullagh, J. R. Statist. Soc. B 42 (1980) 109 (from memory); then the slips to the next word.
    """
    from scipy.special import ndtr

    strays = np.hypot(STRAYS_FRACTION, PLACES_DIFFER_FRACTION)
    passes = [ndtr((edge - clearness_fraction) / strays) for edge in PASSES_FRACTION]
    ones = np.ones_like(clearness_fraction)
    at_most = np.stack([ones, *passes, 0.0 * ones])
    odds: FloatArray = np.tensordot(_slips(len(SKY_TERMS)), at_most[:-1] - at_most[1:], axes=1)
    return odds


def _slips(n_terms: int) -> FloatArray:
    """How likely each word (rows) is said where another (columns) has the sky's oktas."""
    said = SLIP_FRACTION / 2.0 * (np.eye(n_terms, k=1) + np.eye(n_terms, k=-1))
    return said + np.diag(1.0 - said.sum(axis=0))


class SeenSky:
    """The words of a yard's readings on its grid."""

    def __init__(self, expected: Expectation, skies: Sequence[SkySpell]) -> None:
        grid = expected.grid
        self.clear_wh = grid.energy_wh(expected.clear_w)
        self.sun_wh = grid.energy_wh(sun_at_w(expected.suns, PLACES[np.newaxis, :]))
        self.day = np.array([grid.local(step).toordinal() for step in range(grid.n_steps)])
        self.suns = expected.suns
        spells = (
            (expected.edge_of(sky.start), expected.edge_of(sky.end), SKY_TERMS.index(sky.term)) for sky in skies
        )
        self.spells = [spell for spell in spells if self._tells(*spell[:2])]
        self.words = Counter(int(self.day[begin]) for begin, _, _ in self.spells)

    def tell(self, first: int, last: int) -> Told | None:
        """What the words that end in a part of a day say; None where no word does."""
        found = [
            self._weigh(begin, end, term) for begin, end, term in self.spells if first < end <= last
        ]
        if not found:
            return None
        odds = LEAN_WEIGHTS[:, np.newaxis] * np.prod(found, axis=0)
        likely = odds.sum(axis=0)
        weights = odds / likely
        lean = (weights * LEANS[:, np.newaxis]).sum(axis=0)
        return Told(likely, lean, (weights * (LEANS[:, np.newaxis] - lean) ** 2).sum(axis=0))

    def leans(self, first: int, last: int) -> float:
        """Whether a part of a day lies in its morning, 1, or in its afternoon, -1, as the clear sun goes."""
        today = self.day == self.day[first]
        before_wh = self.clear_wh[today & (np.arange(len(self.day)) < first)].sum()
        middle_wh = before_wh + 0.5 * self.clear_wh[first:last].sum()
        return 1.0 if middle_wh < 0.5 * self.clear_wh[today].sum() else -1.0

    def _tells(self, first: int, last: int) -> bool:
        today = self.day == self.day[min(first, len(self.day) - 1)]
        return bool(self.clear_wh[first:last].sum() > LEAST_PART * self.clear_wh[today].sum())

    def _weigh(self, first: int, last: int, term: int) -> FloatArray:
        """How likely a word is at each lean and place, shape (n_leans, n_places)."""
        today = self.day == self.day[first]
        part_wh = self.sun_wh[first:last].sum(axis=0)
        strays_wh = half_day_fraction(self.suns, today) * bridge_wh(part_wh, self.sun_wh[today].sum(axis=0))
        came_wh = part_wh + self.leans(first, last) * LEANS[:, np.newaxis] * strays_wh
        odds = np.maximum(word_odds(came_wh / self.clear_wh[first:last].sum())[term], LEAST_ODDS)
        # n things that stray alike tell as much as n / (1 + (n - 1) r) that do not.
        weighed: FloatArray = odds ** (1.0 / (1.0 + (self.words[int(self.day[first])] - 1) * ALIKE_FRACTION))
        return weighed
