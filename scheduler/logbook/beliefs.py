"""What to believe of a yard after each reading: odds over the causes, sequentially, the sun unknown.

A state is a deviation and a place of the day's sun between dull and bright. In each state the yard runs from one
reading to the next by the replay's physics, with a level known by mean and variance; a reading weighs the states by
how likely it was in each. From sound, a yard may get any deviation at the beginning of an interval and then keeps it;
a day's sun keeps its place from midnight to midnight. That is a filter of interacting models: H. A. P. Blom,
Y. Bar-Shalom, IEEE Transactions on Automatic Control 33 (1988) 780 (from memory).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from scheduler.logbook.causes import Cause, Deviation, deviations_of
from scheduler.logbook.daysun import PLACES, bridge_wh, half_day_fraction, place_weights, sun_at_w
from scheduler.logbook.expectation import Expectation, Reading
from scheduler.logbook.skyseen import SeenSky
from scheduler.planning.replay_physics import run_bank
from scheduler.timegrid import FloatArray

#: How far a display may be off, one standard deviation [%].
READING_PCT = 2.0

#: How likely it is that a yard gets something the matter within a day. A guess, no source, see DEVELOPERS.md.
ONSET_A_DAY_FRACTION = 0.2

#: How likely it is that what is the matter is mended within a day. A guess, no source.
REPAIR_A_DAY_FRACTION = 0.06

#: How often a figure is simply misread or mistyped.
MISREAD_FRACTION = 0.003

#: How far a whole day's power is known besides.
POWER_FRACTION = 0.03

#: How far what a load that switches by itself takes in a part of its day strays from its share of the day, as a bridge
#: (see `_Follower._lean_wh`): three blocks that fall anywhere in the window have ``1 / sqrt(3)``.
DUTY_FRACTION = 0.58

#: How far all other draw is known.
DRAW_FRACTION = 0.04

#: How far what a charger puts into its battery, and what work takes out, are known.
CHARGING_FRACTION = 0.06

#: How far a display strays from itself when it is read again at once, one standard deviation; most of `READING_PCT` is
#: how far it is off for days. A guess, no source.
REPEATS_PCT = 0.5

#: A display that is stuck shows this much else than before, in less than one reading of a hundred.
STUCK_FRACTION = 0.99

#: The least that is unknown of the level, of the capacity.
LEAST_LEVEL_FRACTION = 0.004

ROOT_3 = 3.0**0.5


@dataclass(frozen=True)
class Belief:
    """What is believed after a reading.

    Attributes
    ----------
    at : datetime
    odds_fraction : ndarray, shape (n_deviations,)
        How probable each deviation is.
    sun_place_deviations : float
        Where the sun of the last day lies, if nothing is the matter: -1.28 is dull, 0 likely, 1.28 bright.
    deviations : tuple of Deviation
    """

    at: dt.datetime
    odds_fraction: FloatArray
    sun_place_deviations: float
    deviations: tuple[Deviation, ...]

    def by_cause(self) -> dict[Cause, float]:
        """How probable each cause is, the most probable first."""
        summed: dict[Cause, float] = {}
        for one, fraction in zip(self.deviations, self.odds_fraction, strict=True):
            summed[one.cause] = summed.get(one.cause, 0.0) + float(fraction)
        return dict(sorted(summed.items(), key=lambda item: -item[1]))

    def likeliest(self, cause: Cause) -> Deviation:
        """The most probable deviation of a cause."""
        among = [number for number, one in enumerate(self.deviations) if one.cause is cause]
        return self.deviations[max(among, key=lambda number: float(self.odds_fraction[number]))]


@dataclass
class _Level:
    """The states, arrays (n_deviations, n_places).

    How probable each is, and the bank's level in it as a fraction. Since the last reading: what part of the draw an
    empty bank has left unserved, how far the level may have strayed, as a variance; and the level then, by deviation.
    """

    odds: FloatArray
    mean: FloatArray
    var: FloatArray
    unserved: FloatArray
    strayed: FloatArray
    began: FloatArray


def follow(expected: Expectation, readings: Sequence[Reading], first_charge_pct: dict[str, float]) -> list[Belief]:
    """Go through the readings of a yard, which is taken to be sound at the first.

    Parameters
    ----------
    expected : Expectation
        What switches by itself is spread over its window.
    readings : sequence of Reading
        In the order of time, within the expectation's grid; those without the bank still tell of machines.
    first_charge_pct : dict of str to float
        What machines held at the first reading, where that is known [%].

    Returns
    -------
    list of Belief
        One for each reading after the first that shows the bank.
    """
    sky = SeenSky(expected, [sky for reading in readings for sky in reading.skies])
    return list(_Follower(expected, deviations_of(expected), first_charge_pct, sky).go(readings))


class _Follower:
    def __init__(
        self,
        expected: Expectation,
        deviations: tuple[Deviation, ...],
        first_charge_pct: dict[str, float],
        sky: SeenSky,
    ) -> None:
        self.expected, self.deviations, self.sky = expected, deviations, sky
        self.places = place_weights()
        self.prior = np.array([one.prior_fraction for one in deviations])
        self.sun_wh, self.net_wh = self._energies()
        self.day = np.array([expected.grid.local(step).toordinal() for step in range(expected.grid.n_steps)])
        self.midnights = {int(step) + 1 for step in np.flatnonzero(np.diff(self.day))}
        self.charge_pct = {name: (0, pct) for name, pct in first_charge_pct.items()}
        self.is_stuck = np.array([one.is_stuck for one in deviations], dtype=bool)

    def _energies(self) -> tuple[FloatArray, FloatArray]:
        """Sun, and sun less draw, of every step in every state; shape (n_steps, n_deviations, n_places) [Wh]."""
        expected, grid = self.expected, self.expected.grid
        power_w = sun_at_w(expected.suns, PLACES[np.newaxis, :])
        sun, net = [], []
        names = [machine.name for machine in expected.yard.machines]
        for one in self.deviations:
            left = expected.array_fraction @ np.array(one.array_fraction)
            sun_wh = grid.energy_wh(np.minimum(power_w * left[:, np.newaxis], one.sun_limit_w))
            alive = np.array([name != one.dead_charger for name in names], dtype=bool)
            draw_wh = expected.demand_wh(alive, one.ac_on) + one.extra_w * grid.step_h
            sun.append(sun_wh)
            net.append(sun_wh - draw_wh[:, np.newaxis])
        return np.stack(sun, axis=1), np.stack(net, axis=1)

    def go(self, readings: Sequence[Reading]) -> Iterator[Belief]:
        """Yield a belief after each reading but the first."""
        shown = [reading for reading in readings if reading.bank_pct is not None]
        if not shown:
            return
        first, *others = shown
        edge, before_pct = self.expected.edge_of(first.at), _pct(first)
        level = self._begin(before_pct)
        self._note_machines(level, first, edge, weigh=False)
        for reading in others:
            until = self.expected.edge_of(reading.at)
            self._may_change(level, (until - edge) * self.expected.grid.step_h)
            level.unserved, level.strayed = np.zeros_like(level.mean), np.zeros_like(level.mean)
            level.began = level.mean @ self.places
            for start, end in self._days(edge, until):
                self._run(level, start, end)
                if end in self.midnights:
                    self._new_day(level)
            self._note_machines(level, reading, until, weigh=True)
            self._weigh(level, _pct(reading), before_pct)
            edge, before_pct = until, _pct(reading)
            yield self._belief(level, reading.at)

    def _begin(self, bank_pct: float) -> _Level:
        odds = np.zeros((len(self.deviations), len(PLACES)))
        odds[0] = self.places
        mean, var, none = (np.full_like(odds, one) for one in (bank_pct / 100.0, (READING_PCT / 100.0) ** 2, 0.0))
        return _Level(odds, mean, var, none, none, mean[:, 0])

    def _days(self, first: int, last: int) -> Iterator[tuple[int, int]]:
        """Split an interval at its midnights."""
        edges = [first, *(edge for edge in sorted(self.midnights) if first < edge < last), last]
        yield from pairwise(edges)

    def _may_change(self, level: _Level, hours: float) -> None:
        """From sound, anything may begin to be the matter; what is the matter may be mended; both as time goes."""
        begins, ends = (
            1.0 - (1.0 - a_day) ** (hours / 24.0) for a_day in (ONSET_A_DAY_FRACTION, REPAIR_A_DAY_FRACTION)
        )
        ended = ends * level.odds[1:]
        fresh = begins * self.prior[1:, np.newaxis] * level.odds[0]
        sound = _blend(np.vstack([level.odds[:1] * (1.0 - begins), ended]), level.mean, level.var)
        kept = np.stack([level.odds[1:] - ended, fresh])
        means = np.stack([level.mean[1:], np.broadcast_to(level.mean[0], fresh.shape)])
        variances = np.stack([level.var[1:], np.broadcast_to(level.var[0], fresh.shape)])
        others = _blend(kept, means, variances)
        level.odds, level.mean, level.var = (
            np.vstack([one[np.newaxis], rest]) for one, rest in zip(sound, others, strict=True)
        )

    def _new_day(self, level: _Level) -> None:
        """At midnight the sun's place is drawn anew, whatever is the matter."""
        odds, *moments = _blend(level.odds.T, level.mean.T, level.var.T)
        level.odds = odds[:, np.newaxis] * self.places
        moments.append(level.strayed @ self.places)
        level.mean, level.var, level.strayed = (
            np.repeat(one[:, np.newaxis], len(PLACES), axis=1) for one in moments
        )

    def _run(self, level: _Level, first: int, last: int) -> None:
        """Let the bank run in every state, from three levels each, so that a full bank forgets what it held."""
        if last <= first:
            return
        off = ROOT_3 * np.sqrt(level.var)
        starts = np.clip(np.stack([level.mean, level.mean - off, level.mean + off]), 0.0, 1.0)
        ends, short_wh = np.empty_like(starts), np.empty_like(level.mean)
        bank = self.expected.yard.bank
        for capacity in sorted({one.capacity_fraction for one in self.deviations}):
            rows = np.array([one.capacity_fraction == capacity for one in self.deviations])
            scaled = bank.model_copy(update={"modules_wh": tuple(capacity * wh for wh in bank.modules_wh)})
            net_wh = self.net_wh[first:last, rows].reshape(last - first, -1)
            start_wh = (starts[:, rows] * scaled.capacity_wh).reshape(-1)
            no_wh = np.zeros(last - first)
            ran = run_bank(scaled, self.expected.grid, np.tile(net_wh, (1, 3)), no_wh, start_wh)
            ends[:, rows] = ran.level_wh[-1].reshape(3, -1, len(PLACES)) / scaled.capacity_wh
            lack_wh = (ran.short_wh + ran.limited_wh).sum(axis=0)
            short_wh[rows] = lack_wh.reshape(3, -1, len(PLACES))[0]
        mean = (4.0 * ends[0] + ends[1] + ends[2]) / 6.0
        var = (4.0 * (ends[0] - mean) ** 2 + (ends[1] - mean) ** 2 + (ends[2] - mean) ** 2) / 6.0
        kept = np.minimum(var / level.var, 1.0)
        level.unserved = np.maximum(level.unserved, short_wh / max(self._draw_wh(first, last), 1.0))
        brought, unknown = self._besides(level, first, last)
        level.mean = np.clip(mean + np.sqrt(kept) * brought, 0.0, 1.0)
        level.var = np.maximum(var + kept * unknown, LEAST_LEVEL_FRACTION**2)
        # What may have been plugged in besides is left out: if nothing was, a display that stands still is right to.
        capacity_wh = self.expected.yard.bank.capacity_wh
        unsure = (self.expected.unsure_wh[first:last].sum() / capacity_wh) ** 2
        level.strayed = level.strayed + kept * np.maximum(unknown - unsure, 0.0)

    def _draw_wh(self, first: int, last: int) -> float:
        return float(self.expected.demand_wh()[first:last].sum())

    def _besides(self, level: _Level, first: int, last: int) -> tuple[FloatArray, FloatArray]:
        """Mean and variance of what sun and draw bring besides what is modelled, as fractions of the capacity.

        What was seen of the sky weighs the places of the sun, and says which way the day leans.
        """
        expected, part, today = self.expected, slice(first, last), self.day == self.day[first]
        capacity_wh = expected.yard.bank.capacity_wh
        lean_wh = self._lean_wh(first, last)
        told = self.sky.tell(first, last)
        lean, lean_variance = (0.0, 1.0) if told is None else (told.lean_deviations, told.lean_variance)
        if told is not None:
            level.odds = level.odds * told.likely_fraction
        power_wh = POWER_FRACTION * self.sun_wh[part].sum(axis=0)
        duty_wh = DUTY_FRACTION * bridge_wh(expected.duty_wh[part].sum(), expected.duty_wh[today].sum())
        draw_wh = DRAW_FRACTION * self._draw_wh(first, last)
        unsure_wh = expected.unsure_wh[part].sum()
        unknown = lean_variance * lean_wh**2 + power_wh**2 + duty_wh**2 + draw_wh**2 + unsure_wh**2
        return lean * lean_wh / capacity_wh, unknown / capacity_wh**2

    def _lean_wh(self, first: int, last: int) -> FloatArray:
        """How much more sun a part of a day has if the day leans to its morning by one standard deviation [Wh].

        Of a day known as a whole, a part of the energy ``f`` strays like a bridge, with ``sqrt(f (1 - f))``.
        """
        today = self.day == self.day[first]
        day_wh, part_wh = self.sun_wh[today].sum(axis=0), self.sun_wh[first:last].sum(axis=0)
        strays_wh = half_day_fraction(self.expected.suns, today) * bridge_wh(part_wh, day_wh)
        return self.sky.leans(first, last) * strays_wh

    def _weigh(self, level: _Level, shown_pct: float, before_pct: float) -> None:
        """Weigh the states by what the bank's display shows, and learn the level from it."""
        mean_pct, sd_pct = 100.0 * level.mean, np.sqrt(1e4 * level.var + READING_PCT**2)
        likely = probability_of_whole(shown_pct, mean_pct, sd_pct)
        same = abs(shown_pct - before_pct) < 0.5
        if same:
            likely = np.maximum(likely, _same_again(level))
        likely = (1.0 - MISREAD_FRACTION) * likely + MISREAD_FRACTION / 101.0
        likely[self.is_stuck] = STUCK_FRACTION if same else (1.0 - STUCK_FRACTION) / 100.0
        gain = np.where(self.is_stuck[:, np.newaxis], 0.0, 1e4 * level.var / sd_pct**2)
        level.mean = np.clip(level.mean + gain * (shown_pct - mean_pct) / 100.0, 0.0, 1.0)
        level.var = np.maximum(level.var * (1.0 - gain), LEAST_LEVEL_FRACTION**2)
        level.odds = level.odds * likely
        level.odds /= level.odds.sum()

    def _note_machines(self, level: _Level, reading: Reading, edge: int, weigh: bool) -> None:
        """Weigh the states by what machines' displays show, each from what it showed before."""
        for number, machine in enumerate(self.expected.yard.machines):
            shown_pct = reading.machines_pct.get(machine.name)
            if shown_pct is None:
                continue
            before = self.charge_pct.get(machine.name)
            self.charge_pct[machine.name] = (edge, shown_pct)
            if before is not None and weigh:
                level.odds = level.odds * self._machine_likely(level, number, before, edge, shown_pct)
        level.odds /= level.odds.sum()

    def _machine_likely(
        self, level: _Level, number: int, before: tuple[int, float], edge: int, shown_pct: float
    ) -> FloatArray:
        """How likely a machine's display is in each state: whether its charger worked, and the bank fed it."""
        machine, (since, before_pct) = self.expected.yard.machines[number], before
        charged_pct, idle_pct = (
            self.expected.charge_after_pct(number, since, edge, before_pct, works) for works in (True, False)
        )
        is_ac = machine.supply == "ac"
        works = np.array(
            [one.dead_charger != machine.name and (one.ac_on or not is_ac) for one in self.deviations]
        )
        fed = np.where(works[:, np.newaxis], 1.0 - np.minimum(level.unserved, 1.0), 0.0)
        now_pct = idle_pct + fed * (charged_pct - idle_pct)
        to_pct = 100.0 / machine.capacity_wh
        rises_pct = to_pct * machine.charger_efficiency * self.expected.wall_wh[since:edge, number].sum()
        worked_pct = to_pct * self.expected.work_wh[since:edge, number].sum()
        unsure = CHARGING_FRACTION * fed + np.where(works[:, np.newaxis], np.minimum(level.unserved, 0.5), 0.0)
        unknown_pct = np.hypot(unsure * rises_pct, CHARGING_FRACTION * worked_pct)
        sd_pct = np.sqrt(2.0 * READING_PCT**2 + unknown_pct**2)
        likely = probability_of_whole(shown_pct, now_pct, sd_pct)
        weighed: FloatArray = (1.0 - MISREAD_FRACTION) * likely + MISREAD_FRACTION / 101.0
        return weighed

    def _belief(self, level: _Level, at: dt.datetime) -> Belief:
        sound = level.odds[0]
        total = sound.sum()
        place = float((sound * PLACES).sum() / total) if total > 0.0 else 0.0
        return Belief(at, level.odds.sum(axis=1), place, self.deviations)


def probability_of_whole(shown_pct: float, mean_pct: FloatArray, sd_pct: FloatArray) -> FloatArray:
    """How likely a display shows a whole percent; what would be beyond 0 or 100 is shown as 0 or 100."""
    from scipy.special import ndtr

    upper = np.inf if shown_pct >= 99.5 else shown_pct + 0.5
    lower = -np.inf if shown_pct <= 0.5 else shown_pct - 0.5
    probability: FloatArray = ndtr((upper - mean_pct) / sd_pct) - ndtr((lower - mean_pct) / sd_pct)
    return probability


def _same_again(level: _Level) -> FloatArray:
    """How likely a display that is off by the same all the time shows what it showed: where the level hardly moved."""
    from scipy.special import ndtr

    moved_pct = 100.0 * (level.mean - level.began[:, np.newaxis])
    sd_pct = np.sqrt(1e4 * level.strayed + REPEATS_PCT**2)
    probability: FloatArray = ndtr((0.5 - moved_pct) / sd_pct) - ndtr((-0.5 - moved_pct) / sd_pct)
    return probability


def _blend(odds: FloatArray, mean: FloatArray, var: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Make one state of several along the first axis: odds together, mean and variance of the mixture."""
    total = odds.sum(axis=0)
    weights = np.divide(odds, total, out=np.full_like(odds, 1.0 / len(odds)), where=total > 0.0)
    middle = (weights * mean).sum(axis=0)
    return total, middle, (weights * (var + (mean - middle) ** 2)).sum(axis=0)


def _pct(reading: Reading) -> float:
    assert reading.bank_pct is not None
    return reading.bank_pct
