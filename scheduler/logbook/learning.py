"""What a fortnight of readings says of a yard's true figures: array, base load, bank, chargers.

One least-squares fit of everything that is not known: the figures, the level at every reading, the place of every
day's sun. Its residuals are the readings against the levels, each level against what the replay's bank makes of the one
before, the days' places against their spread, machines' displays against their chargers' curve, and the figures against
the fleet file, widely. The interval of a figure comes from the fit's own curvature, everything else left free.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from scheduler.errors import UsageError
from scheduler.logbook.beliefs import DUTY_FRACTION, LEAST_LEVEL_FRACTION, READING_PCT
from scheduler.logbook.daysun import PLACES, bridge_wh, half_day_fraction, place_weights, sun_at_w
from scheduler.logbook.expectation import Expectation, Reading
from scheduler.logbook.learned import DEVIATIONS_95, Figure, Learned
from scheduler.logbook.skyseen import SeenSky
from scheduler.logbook.spells import Spell, spells_of
from scheduler.logbook.sureness import deviations, unsure
from scheduler.planning.replay_physics import BoolArray, from_bank_wh, run_bank
from scheduler.timegrid import FloatArray

#: So many days of readings it takes.
LEAST_DAYS = 14.0

#: How far the figures of a fleet file are believed, one standard deviation of the factor's logarithm; of the base load,
#: which may lack a load altogether, the deviation of watts added to it: this part of it, and what empties the bank in
#: so many hours.
BELIEVED = {"array": 0.4, "base load": 0.7, "bank": 0.3, "charger": 0.4}
LACKING_H = 100.0

#: How far a bank follows its model over an interval in which everything else is known, of its draw.
DRAW_FRACTION = 0.015

#: Where the bank shows less, AC may have been off in between: nothing is learned from such an interval [%].
EMPTY_PCT = 12.0

#: Where the likely sun fills the bank this far, what the day brought cannot be known: nothing is learned from such an
#: interval either. That it is told by the expectation and not by the display leaves bright and dull days alike.
FULL_FRACTION = 0.98

#: Except where the end comes out nearly the same however the sun strayed within its day, this many deviations to either
#: side. So much of what lies between the two ends is then taken for one deviation: more than the sixth, for a bank that
#: is full cuts one side off; it may be this part of the bank.
FARTHEST, STRAY_PART, FORGETS_FRACTION = (-3.0, 3.0), 0.3, 0.03

#: How far an interval's end may lie from the model where nothing is learned from it.
UNKNOWN_FRACTION = 1.0

#: A bank that shows so little at more than this part of the readings says little of itself: AC may have been off.
STARVED_FRACTION = 0.1


#: What a keeper can do for more readings of a kind.
CHARGING_NIGHT = "the bank in the evening and the next morning, with a charger in between whose machine is noted too"
IDLE_NIGHT = "the bank in the evening and the next morning, with nothing charging in between"
DAY_NOT_FULL = "the bank in the morning and at noon, on days on which it is not full by then"
SKY = "the sky at each visit, such as --sky fair"
MACHINE = "each machine when it is plugged in and at the next visit, before it is full"


def learn(expected: Expectation, readings: Sequence[Reading], first_charge_pct: dict[str, float]) -> Learned:
    """Fit the yard's figures to its readings.

    Parameters
    ----------
    expected : Expectation
    readings : sequence of Reading
    first_charge_pct : dict of str to float
        What machines held at the first reading, where that is known [%].

    Raises
    ------
    UsageError
        If the readings are of less than a fortnight.
    """
    from scipy.optimize import least_squares

    shown = [reading for reading in readings if reading.bank_pct is not None]
    days = (shown[-1].at - shown[0].at).total_seconds() / 86400.0
    if days < LEAST_DAYS:
        msg = (
            f"the readings are of {days:.1f} days; wanted {LEAST_DAYS:.0f} or more to learn from: "
            "wait, or give more --days"
        )
        raise UsageError(msg)
    fit = _Fit(expected, shown, readings, first_charge_pct)
    start = fit.start()
    found = least_squares(
        fit.residuals,
        start,
        jac_sparsity=fit.sparsity(),
        bounds=(fit.least(start), np.inf),
        x_scale="jac",
        method="trf",
        max_nfev=60,
    )
    jacobian: FloatArray = found.jac.toarray()  # type: ignore[union-attr]  # sparse, as the pattern is
    figures = tuple(fit.figures(found.x, deviations(jacobian)))
    lacking = unsure(jacobian, fit.parts(found.x), fit.kinds_of_readings(), days)
    is_starved = bool((fit.shown_pct < EMPTY_PCT).mean() > STARVED_FRACTION)
    return Learned(figures, days, len(shown), lacking, is_starved)


class _Fit:
    """The unknowns lie in one vector: figures, levels at the readings, places of the days.

    Figures are the logarithms of factors; the base load is watts added to the file's, in units of `added_w`.
    """

    def __init__(
        self,
        expected: Expectation,
        shown: Sequence[Reading],
        readings: Sequence[Reading],
        first_charge_pct: dict[str, float],
    ) -> None:
        self.expected = expected
        self.edges = [expected.edge_of(reading.at) for reading in shown]
        self.shown_pct = np.array([reading.bank_pct or 0.0 for reading in shown])
        ordinals = [expected.grid.local(step).toordinal() for step in range(expected.grid.n_steps)]
        self.day = np.array(ordinals) - ordinals[0]
        self.spells = spells_of(expected, readings, first_charge_pct)
        empty = [edge for edge, pct in zip(self.edges, self.shown_pct, strict=True) if pct < EMPTY_PCT]
        self.rises = [
            spell
            for spell in self.spells
            if spell.tells_watts(expected) and not any(spell.first <= edge <= spell.last for edge in empty)
        ]
        charging = sorted({rise.column for rise in self.rises})
        self.kinds = [("array", -1), ("base load", -1), ("bank", -1), *(("charger", at) for at in charging)]
        self.n_figures, self.n_levels = len(self.kinds), len(shown)
        self.lacking_w = expected.yard.bank.capacity_wh / LACKING_H
        self.added_w = math.hypot(BELIEVED["base load"] * expected.yard.always_on_w, self.lacking_w)
        self.n_days = int(self.day[-1]) + 1
        self.place, self.place_deviation = self._places_seen(readings)
        self.steps, self.inside = self._columns()
        self._wall_wh = functools.lru_cache(maxsize=64)(self._charging_wh)
        self.deviation = self._deviation()

    def start(self) -> FloatArray:
        """Begin at the file's figures, the displays, and likely days."""
        levels = np.clip(self.shown_pct / 100.0, 0.01, 0.99)
        return np.concatenate([np.zeros(self.n_figures), levels, np.zeros(self.n_days)])

    def least(self, start: FloatArray) -> FloatArray:
        """Return what no unknown can be less than: no house draws less than nothing."""
        least = np.full_like(start, -np.inf)
        least[1] = -self.expected.yard.always_on_w / self.added_w
        return least

    def parts(self, unknowns: FloatArray) -> FloatArray:
        """Return what an error of one in each figure's unknown is as a part of the figure, shape (n_figures,).

        A base load that is less than `lacking_w` need not be known any better than one of so many watts.
        """
        parts = np.ones(self.n_figures)
        base_w = self.expected.yard.always_on_w + self.added_w * unknowns[1]
        parts[1] = self.added_w / max(base_w, self.lacking_w)
        return parts

    def residuals(self, unknowns: FloatArray) -> FloatArray:
        """Return everything that should be near zero, in standard deviations."""
        figures, levels, places = np.split(unknowns, [self.n_figures, self.n_figures + self.n_levels])
        believed = np.array([1.0 if kind == "base load" else BELIEVED[kind] for kind, _ in self.kinds])
        capacity = float(np.exp(figures[2]))
        ends = self._run(figures, levels, places, capacity)[-1]
        pulled = (self.shown_pct - 100.0 * levels) / READING_PCT
        return np.concatenate(
            [
                figures / believed,
                pulled,
                (levels[1:] - ends) / self.deviation,
                (places - self.place) / self.place_deviation,
                np.array([self._rise_residual(rise, figures) for rise in self.rises]),
            ]
        )

    def sparsity(self) -> FloatArray:
        """Return which unknowns each residual depends on, so that many are tried at once."""
        n_f, n_l, n_d = self.n_figures, self.n_levels, self.n_days
        pattern = np.zeros((n_f + 2 * n_l - 1 + n_d + len(self.rises), n_f + n_l + n_d))
        pattern[:n_f, :n_f] = np.eye(n_f)
        pattern[n_f : n_f + n_l, n_f : n_f + n_l] = np.eye(n_l)
        row = n_f + n_l
        for number, (first, last) in enumerate(pairwise(self.edges)):
            pattern[row + number, :n_f] = 1.0
            pattern[row + number, n_f + number : n_f + number + 2] = 1.0
            days = np.unique(self.day[first:last])
            pattern[row + number, n_f + n_l + days] = 1.0
        row += n_l - 1
        pattern[row : row + n_d, n_f + n_l :] = np.eye(n_d)
        pattern[row + n_d :, :n_f] = 1.0
        return pattern

    def kinds_of_readings(self) -> dict[str, BoolArray]:
        """Which residuals each kind of reading brings, by what the keeper is to do for more of them."""
        expected = self.expected
        rows = np.zeros(self.n_figures + 2 * self.n_levels - 1 + self.n_days + len(self.rises), dtype=bool)
        shown, ends = self.n_figures, self.n_figures + self.n_levels
        places = ends + self.n_levels - 1
        kinds = {kind: rows.copy() for kind in (CHARGING_NIGHT, IDLE_NIGHT, DAY_NOT_FULL, SKY, MACHINE)}
        for number, (first, last) in enumerate(pairwise(self.edges)):
            if self.deviation[number] < UNKNOWN_FRACTION:
                is_night = self.day[first] != self.day[last - 1]
                is_charging = bool(expected.plugged[first:last].any())
                night = CHARGING_NIGHT if is_charging else IDLE_NIGHT
                kind = kinds[night if is_night else DAY_NOT_FULL]
                kind[[shown + number, shown + number + 1, ends + number]] = True
        kinds[SKY][places : places + self.n_days] = self.place_deviation == 1.0
        kinds[MACHINE][places + self.n_days :] = True
        return kinds

    def figures(self, unknowns: FloatArray, deviation: FloatArray) -> list[Figure]:
        """Turn the fitted unknowns into figures with their intervals."""
        yard = self.expected.yard
        in_file = {"array": sum(array.rated_w for array in yard.arrays), "bank": yard.bank.capacity_wh}
        found = []
        for number, (kind, column) in enumerate(self.kinds):
            apart = DEVIATIONS_95 * deviation[number]
            middle_low_high = unknowns[number] + np.array([0.0, -apart, apart])
            if kind == "base load":
                by = np.maximum(yard.always_on_w + self.added_w * middle_low_high, 0.0)
                found.append(Figure(kind, "", yard.always_on_w, *map(float, by)))
                continue
            name = yard.machines[column].name if kind == "charger" else ""
            value = yard.machines[column].charger_w if kind == "charger" else in_file[kind]
            found.append(Figure(kind, name, value, *map(float, value * np.exp(middle_low_high))))
        return found

    def _places_seen(self, readings: Sequence[Reading]) -> tuple[FloatArray, FloatArray]:
        """Where each day's sun lies by what was seen of the sky, and one deviation about it, shape (n_days,)."""
        place, deviation = np.zeros(self.n_days), np.ones(self.n_days)
        sky = SeenSky(self.expected, [spell for reading in readings for spell in reading.skies])
        for day in range(self.n_days):
            today = np.flatnonzero(self.day == day)
            told = sky.tell(int(today[0]), int(today[-1]) + 1)
            if told is not None:
                weights = place_weights() * told.likely_fraction
                weights /= weights.sum()
                place[day] = (weights * PLACES).sum()
                deviation[day] = np.sqrt((weights * (PLACES - place[day]) ** 2).sum())
        return place, deviation

    def _columns(self) -> tuple[np.ndarray, BoolArray]:
        """Lay the intervals side by side, each a column of steps from its first on."""
        longest = max(last - first for first, last in pairwise(self.edges))
        steps = np.zeros((longest, self.n_levels - 1), dtype=np.intp)
        inside = np.zeros(steps.shape, dtype=bool)
        for number, (first, last) in enumerate(pairwise(self.edges)):
            steps[: last - first, number] = np.arange(first, last)
            inside[: last - first, number] = True
        return steps, inside

    def _deviation(self) -> FloatArray:
        """How far each interval's end may lie from the model, as a fraction of the bank.

        It is taken at the file's figures and stays: if it grew as the bank shrinks, a small bank would fit all.
        """
        unknown_wh = np.array([self._unknown_wh(first, last) for first, last in pairwise(self.edges)])
        ends_empty = self.shown_pct < EMPTY_PCT
        figures, levels, places = np.split(self.start(), [self.n_figures, self.n_figures + self.n_levels])
        fills = self._run(figures, levels, places, 1.0).max(axis=0) >= FULL_FRACTION
        strays = self._strays()
        lower, upper = (
            self._run(figures, levels, places, 1.0, np.maximum(1.0 + far * strays, 0.0)) for far in FARTHEST
        )
        # Where a bank is full for a while and then emptied by the night, its end says what the night took.
        forgets = STRAY_PART * np.abs(upper[-1] - lower[-1])
        unknown = unknown_wh / self.expected.yard.bank.capacity_wh
        known_end = np.hypot(forgets, self._draw_unknown())
        deviation = np.hypot(LEAST_LEVEL_FRACTION, np.where(fills, known_end, unknown))
        empties = ends_empty[:-1] | ends_empty[1:] | (lower.min(axis=0) < EMPTY_PCT / 100.0)
        lost = empties | (fills & (forgets > FORGETS_FRACTION))
        return np.where(lost, UNKNOWN_FRACTION, deviation)

    def _strays(self) -> FloatArray:
        """How far the sun of each step's interval strays where its day is known, shape (n_steps,)."""
        expected = self.expected
        likely_wh = expected.grid.energy_wh(expected.suns.likely_w)
        strays = np.zeros(expected.grid.n_steps)
        for first, last in pairwise(self.edges):
            for day in np.unique(self.day[first:last]):
                today = self.day == day
                part = np.flatnonzero(today[first:last]) + first
                part_wh = likely_wh[part].sum()
                if part_wh > 0.0:
                    apart_wh = half_day_fraction(expected.suns, today) * bridge_wh(part_wh, likely_wh[today].sum())
                    strays[part] = min(float(apart_wh / part_wh), 1.0)
        return strays

    def _draw_unknown(self) -> FloatArray:
        """How far each interval's draw is known, as a fraction of the bank."""
        demand_wh = self.expected.demand_wh()
        drawn_wh = np.array([demand_wh[first:last].sum() for first, last in pairwise(self.edges)])
        return DRAW_FRACTION * drawn_wh / self.expected.yard.bank.capacity_wh

    def _run(
        self,
        figures: FloatArray,
        levels: FloatArray,
        places: FloatArray,
        capacity: float,
        times: FloatArray | float = 1.0,
    ) -> FloatArray:
        """Run the bank through all intervals side by side; its level on every edge as a fraction.

        The sun of each step is taken so many `times`.
        """
        expected, bank = self.expected, self.expected.yard.bank
        sun_w = times * np.exp(figures[0]) * sun_at_w(expected.suns, places[self.day][:, np.newaxis])[:, 0]
        net_wh = expected.grid.energy_wh(sun_w) - self._demand_wh(figures)
        scaled = bank.model_copy(update={"modules_wh": tuple(capacity * wh for wh in bank.modules_wh)})
        columns_wh = np.where(self.inside, net_wh[self.steps], 0.0)
        start_wh = np.clip(levels[:-1], 0.0, 1.0) * scaled.capacity_wh
        ran = run_bank(scaled, expected.grid, columns_wh, np.zeros(len(columns_wh)), start_wh)
        fractions: FloatArray = ran.level_wh / scaled.capacity_wh
        return fractions

    def _demand_wh(self, figures: FloatArray) -> FloatArray:
        expected = self.expected
        wall_wh = self._wall_wh(self._factors(figures))
        is_ac = expected.is_ac
        house_wh = expected.house_wh + self.added_w * figures[1] * expected.grid.step_h + expected.duty_wh
        ac_wh = wall_wh[:, is_ac].sum(axis=1) + house_wh
        demand_wh: FloatArray = wall_wh[:, ~is_ac].sum(axis=1) + from_bank_wh(expected.yard, expected.grid, ac_wh)
        return demand_wh

    def _factors(self, figures: FloatArray) -> tuple[tuple[int, float], ...]:
        return tuple(
            (column, float(np.exp(figure)))
            for (_, column), figure in zip(self.kinds, figures, strict=True)
            if column >= 0
        )

    def _charging_wh(self, factors: tuple[tuple[int, float], ...]) -> FloatArray:
        """What chargers draw where they draw so many times what the file says, from what machines showed."""
        wall_wh, by_column = self.expected.wall_wh.copy(), dict(factors)
        for spell in self.spells:
            _, drawn_wh = spell.path_wh(self.expected, by_column.get(spell.column, 1.0))
            wall_wh[spell.first : spell.last, spell.column] = drawn_wh
        return wall_wh

    def _rise_residual(self, rise: Spell, figures: FloatArray) -> float:
        factor = dict(self._factors(figures))[rise.column]
        capacity_wh = self.expected.yard.machines[rise.column].capacity_wh
        charge_wh, _ = rise.path_wh(self.expected, factor)
        now_pct = 100.0 * charge_wh[-1] / capacity_wh
        return float((rise.after_pct - now_pct) / (np.sqrt(2.0) * READING_PCT))

    def _unknown_wh(self, first: int, last: int) -> float:
        """Standard deviation of what an interval brings besides what is fitted, all its days together [Wh]."""
        expected, suns = self.expected, self.expected.suns
        variance = (DRAW_FRACTION * float(expected.demand_wh()[first:last].sum())) ** 2
        variance += float(expected.unsure_wh[first:last].sum()) ** 2
        for spell in self.spells:
            if spell.first < last and spell.last > first:
                machine = expected.yard.machines[spell.column]
                variance += (READING_PCT / 100.0 * machine.capacity_wh / machine.charger_efficiency) ** 2
        for day in np.unique(self.day[first:last]):
            today = np.flatnonzero(self.day == day)
            part = today[(today >= first) & (today < last)]
            likely_wh = expected.grid.energy_wh(suns.likely_w)
            half_day = half_day_fraction(suns, self.day == day)
            variance += float(half_day * bridge_wh(likely_wh[part].sum(), likely_wh[today].sum())) ** 2
            duty = expected.duty_wh
            variance += float(DUTY_FRACTION * bridge_wh(duty[part].sum(), duty[today].sum())) ** 2
        return float(np.sqrt(variance))
