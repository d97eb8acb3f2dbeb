"""One pattern a machine and a duty schedule, and what follows from them, worked out without a solver."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scheduler.charging.routes import BoolArray
from scheduler.planning.bank import BankPath, bank_path, dc_demand_w, discharge_limit_w
from scheduler.planning.house import DutyRun, duty_watts, worst_start_w
from scheduler.planning.model import Case, first_long_run
from scheduler.timegrid import FloatArray
from scheduler.units import CONTINUOUS_H, POWER_TOLERANCE_W, SOLVER_LEVEL_FRACTION


@dataclass(frozen=True)
class Selection:
    """The choice: a row of each machine's table, and when the duty loads run."""

    rows: tuple[int, ...]
    duty: DutyRun

    def with_row(self, number: int, row: int) -> Selection:
        """Return the same choice with another pattern for one machine."""
        return Selection((*self.rows[:number], row, *self.rows[number + 1 :]), self.duty)


@dataclass(frozen=True)
class Draws:
    """What a choice draws in each step, arrays of shape (n_steps,).

    `ac_w` and `dc_w` are means, `peak_w` is the running AC watts at their peak, `start_peak_w` the same with
    the worst motor starting; `demand_w` is the mean on the bank's side.
    """

    ac_w: FloatArray
    dc_w: FloatArray
    peak_w: FloatArray
    start_peak_w: FloatArray
    demand_w: FloatArray


def rows_of(case: Case, selection: Selection, column: str) -> FloatArray:
    """One column of the chosen patterns, a machine a row."""
    picked = [getattr(table, column)[row] for table, row in zip(case.tables, selection.rows, strict=True)]
    shape = (0, case.agenda.grid.n_steps)
    return np.stack(picked) if picked else np.zeros(shape)


def draws_of(case: Case, selection: Selection) -> Draws:
    """Add up what runs."""
    on_ac = np.array([table.network.machine.supply == "ac" for table in case.tables], dtype=bool)
    wall_w = case.agenda.grid.power_w(rows_of(case, selection, "wall_wh"))
    peak_w = rows_of(case, selection, "peak_w")[on_ac].sum(axis=0)
    return _drawn(case, selection, wall_w[on_ac].sum(axis=0), wall_w[~on_ac].sum(axis=0), peak_w)


def draws_with_each(case: Case, selection: Selection, number: int) -> Draws:
    """Draws of the selection with each pattern of one machine in turn, arrays of shape (patterns, n_steps)."""
    table = case.tables[number]
    return draws_with(case, selection, number, table.wall_wh, table.peak_w)


def draws_with(
    case: Case, selection: Selection, number: int, wall_wh: FloatArray, own_peak_w: FloatArray
) -> Draws:
    """Draws of the selection where one machine draws as given, its arrays of shape (n, n_steps)."""
    others = _without(case, selection, number)
    on_ac = case.tables[number].network.machine.supply == "ac"
    wall_w = case.agenda.grid.power_w(wall_wh)
    nothing = np.zeros_like(wall_w)
    return _drawn(
        case,
        selection,
        others.ac_w + (wall_w if on_ac else nothing),
        others.dc_w + (nothing if on_ac else wall_w),
        others.peak_w + (own_peak_w if on_ac else nothing),
    )


def _without(case: Case, selection: Selection, number: int) -> Draws:
    """Draws of all machines but one, the house left out."""
    picked = np.arange(len(case.tables)) != number
    on_ac = np.array([table.network.machine.supply == "ac" for table in case.tables], dtype=bool)
    wall_w = case.agenda.grid.power_w(rows_of(case, selection, "wall_wh"))
    ac_w = wall_w[on_ac & picked].sum(axis=0)
    peak_w = rows_of(case, selection, "peak_w")[on_ac & picked].sum(axis=0)
    return Draws(ac_w, wall_w[~on_ac & picked].sum(axis=0), peak_w, peak_w, ac_w)


def _drawn(case: Case, selection: Selection, ac_w: FloatArray, dc_w: FloatArray, peak_w: FloatArray) -> Draws:
    """Add the house to what the machines draw."""
    house_w = duty_watts(case.yard, selection.duty, case.agenda.grid.n_steps)
    return Draws(
        ac_w=ac_w + house_w,
        dc_w=dc_w,
        peak_w=peak_w + house_w,
        start_peak_w=worst_start_w(case.yard, selection.duty, peak_w + house_w),
        demand_w=dc_demand_w(case.yard.inverter, ac_w + house_w, dc_w, ac_w + house_w > 0),
    )


def path_under(case: Case, draws: Draws, sun_w: FloatArray) -> BankPath:
    """Follow the bank under one sun."""
    return bank_path(case.yard.bank, case.yard.bank.level_wh, sun_w - draws.demand_w, case.agenda.grid)


def is_allowed(case: Case, selection: Selection) -> bool:
    """Whether a choice keeps R3 to R6 under the dull sun; the house's own faults are not counted against it."""
    inside, hot = _occupied(case, selection)
    return bool(_power_holds(case, draws_of(case, selection)) and _sockets_hold(case, inside, hot))


def allowed_rows(case: Case, selection: Selection, number: int) -> BoolArray:
    """Which patterns of one machine keep R3 to R6, the rest of the selection as it is."""
    table = case.tables[number]
    inside, hot = _occupied(case, selection, leave_out=number)
    place = np.arange(len(case.places))[:, np.newaxis, np.newaxis]
    own = table.place[np.newaxis] == place
    return _power_holds(case, draws_with_each(case, selection, number)) & _sockets_hold(
        case, inside[:, np.newaxis] + own, hot[:, np.newaxis] | (own & table.hot[np.newaxis])
    )


def _power_holds(case: Case, draws: Draws) -> BoolArray:
    """R3 to R5 under the dull sun, over the last axis."""
    path = path_under(case, draws, case.suns.dull_w)
    slack_wh = SOLVER_LEVEL_FRACTION * case.yard.bank.capacity_wh
    house = case.house
    holds = (
        (path.level_wh >= house.allowed_wh - slack_wh).all(axis=-1)
        & (path.unserved_wh <= house.unserved_wh + slack_wh).all(axis=-1)
        & within_watts(case, draws).all(axis=-1)
    )
    return np.asarray(holds)


def within_watts(case: Case, draws: Draws) -> BoolArray:
    """R5 and the bank's discharge limit, step by step."""
    inverter, house = case.yard.inverter, case.house
    most_out_w = np.maximum(case.suns.dull_w + discharge_limit_w(case.yard.bank), house.demand_w)
    running_w = np.maximum(inverter.continuous_w, house.peak_w)
    starting_w = np.maximum(inverter.surge_limit_w, house.start_peak_w)
    return np.asarray(
        (draws.demand_w <= most_out_w + POWER_TOLERANCE_W)
        & (draws.peak_w <= running_w + POWER_TOLERANCE_W)
        & (draws.start_peak_w <= starting_w + POWER_TOLERANCE_W)
    )


def sockets_free(case: Case, selection: Selection, number: int) -> BoolArray:
    """R6: whether each place has a socket that no other machine is in, shape (places, n_steps)."""
    inside, _ = _occupied(case, selection, leave_out=number)
    sockets = np.array([place.sockets for place in case.places])
    return np.asarray(inside < sockets[:, np.newaxis])


def _occupied(case: Case, selection: Selection, leave_out: int = -1) -> tuple[FloatArray, BoolArray]:
    """Machines in each place, and whether one is hot there, shape (places, n_steps); one may be left out."""
    place = rows_of(case, selection, "place")
    hot = rows_of(case, selection, "hot").astype(bool)
    counted = np.arange(len(case.tables)) != leave_out
    inside = place[np.newaxis] == np.arange(len(case.places))[:, np.newaxis, np.newaxis]
    inside &= counted[np.newaxis, :, np.newaxis]
    return inside.sum(axis=1), (inside & hot[np.newaxis]).any(axis=1)


def _sockets_hold(case: Case, inside: FloatArray, hot: BoolArray) -> BoolArray:
    """R6: sockets, and no run of 3 h above 80 % of a breaker's rating; first axis places, last axis steps."""
    sockets = np.array([place.sockets for place in case.places])
    enough = (np.moveaxis(inside, 0, -1) <= sockets).all(axis=(-2, -1))
    run = round(CONTINUOUS_H / case.agenda.grid.step_h)
    if hot.shape[-1] < run:
        return np.asarray(enough)
    windows = np.lib.stride_tricks.sliding_window_view(hot, run, axis=-1)
    too_long = np.asarray(windows.all(axis=-1))[..., first_long_run(case.agenda, run) :]
    return np.asarray(enough & ~too_long.any(axis=(0, -1)))


def idle_row(case: Case, number: int) -> int:
    """Return the pattern of a machine that does the least: it draws least and is soonest unplugged."""
    table = case.tables[number]
    use = table.wall_wh.sum(axis=1) + 1e-6 * (table.place >= 0).sum(axis=1)
    return int(np.argmin(use))
