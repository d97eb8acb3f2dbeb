"""The best that any hand could do in a tiny yard, found by trying everything.

Every machine's ways of being plugged are listed visit by visit, every duty load's schedules too, and the
product of all of them is tried against R3 to R6 and R10. Only ways that draw the same, in the same places,
are counted once, the one with fewest plug changes standing for the others.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.yard.models import PRIORITIES, Machine
from tests.oracle_physics import (
    CONTINUOUS_H,
    MET_WH,
    SAME_WH,
    Best,
    Case,
    Flags,
    Floats,
    allowed_wh,
    bank_draw_wh,
    bank_levels_wh,
    charging,
    duty_ways,
    house_always_w,
    load_named,
    may_stand_in,
    outside_window,
    over_whole_steps,
)

#: More combinations than this are not a tiny yard.
MOST_COMBINATIONS = 3_000_000
BATCH = 8192


class TooBig(Exception):
    """The yard has more combinations than the oracle is willing to try."""


@dataclass(frozen=True)
class Stay:
    """A machine in an outlet that is on from edge `on` to edge `off`, as left at the last visit."""

    outlet: int
    on: int
    off: int


@dataclass(frozen=True)
class Way:
    """One way of plugging one machine."""

    where: tuple[int, ...]
    on: tuple[bool, ...]
    changes: int


@dataclass(frozen=True)
class Column:
    """A way with everything that counts: what it takes from the yard and what it gives."""

    occupied: Flags  # (outlet, step)
    over: Flags  # (outlet, step): whole steps above 80 % of the breaker
    wall_wh: Floats
    peak_w: Floats
    met: tuple[int, int, int]
    shortfall_wh: float
    changes: int


# ---- R10: what the hand may do -------------------------------------------------------------------


def hand_ways(case: Case, machine: Machine) -> dict[tuple[tuple[int, ...], tuple[bool, ...]], int]:
    """Fewest plug changes for each distinct way of being plugged, R8 kept."""
    names = [outlet.name for outlet in case.yard.outlets]
    start = None if machine.outlet is None else Stay(names.index(machine.outlet), 0, case.agenda.grid.n_steps)
    ways: dict[tuple[tuple[int, ...], tuple[bool, ...]], int] = {}
    for way in _walk(case, machine, start, 0, Way((), (), 0)):
        key = (way.where, way.on)
        ways[key] = min(way.changes, ways.get(key, way.changes))
    return ways


def _walk(case: Case, machine: Machine, stay: Stay | None, edge: int, way: Way) -> Iterator[Way]:
    """Go on from `edge`, where no decision has been taken yet, to the end."""
    if edge == case.agenda.grid.n_steps:
        yield way
        return
    away = case.agenda.away[machine.name]
    options: list[tuple[Stay | None, int]] = [(None if away[edge] else stay, 0)]
    if edge in case.agenda.visits and not away[edge]:
        options += _actions(case, machine, stay, edge)
    for chosen, cost in options:
        following = min((v for v in case.agenda.visits if v > edge), default=case.agenda.grid.n_steps)
        end = min(following, _next_change(away, edge))
        where = (-1 if chosen is None else chosen.outlet,) * (end - edge)
        on = tuple(chosen is not None and chosen.on <= step < chosen.off for step in range(edge, end))
        if (
            not machine.self_protecting
            and (np.array(on) & outside_window(machine, case.suns)[edge:end]).any()
        ):
            continue
        longer = Way(way.where + where, way.on + on, way.changes + cost)
        yield from _walk(case, machine, chosen, end, longer)


def _next_change(away: Flags, edge: int) -> int:
    """Return the next edge at which the machine goes or comes back."""
    changed = np.flatnonzero(away[edge:] != away[edge])
    return edge + int(changed[0]) if len(changed) else len(away)


def _actions(case: Case, machine: Machine, stay: Stay | None, edge: int) -> list[tuple[Stay | None, int]]:
    pulled = 0 if stay is None else 1
    actions: list[tuple[Stay | None, int]] = [] if stay is None else [(None, 1)]
    away = case.agenda.away[machine.name]
    latest = _next_change(away, edge)
    for index, outlet in enumerate(case.yard.outlets):
        if not may_stand_in(machine, outlet):
            continue
        same = stay is not None and stay.outlet == index
        if outlet.timer:
            blocks = itertools.combinations(range(edge, latest + 1), 2)
            actions += [(Stay(index, on, off), 1 if same else 1 + pulled) for on, off in blocks]
            # Left on: on until somebody takes it out.
        if not same and not outlet.timer:
            actions.append((Stay(index, edge, latest), 1 + pulled))
    return actions


# ---- the columns and their product ---------------------------------------------------------------


def machine_columns(case: Case, machine: Machine) -> list[Column]:
    """Every way of plugging one machine, ways that draw the same in the same places once."""
    columns: dict[bytes, Column] = {}
    for (where, on), changes in hand_ways(case, machine).items():
        column = _column(case, machine, np.array(where), np.array(on, dtype=bool), changes)
        key = column.occupied.tobytes() + np.round(column.wall_wh, 6).tobytes() + column.over.tobytes()
        if key not in columns or columns[key].changes > changes:
            columns[key] = column
    return list(columns.values())


def _column(case: Case, machine: Machine, where: NDArray[np.int_], on: Flags, changes: int) -> Column:
    charge = charging(case, machine, on)
    outlets = case.yard.outlets
    occupied = np.array([where == index for index in range(len(outlets))])
    over = np.array(
        [
            occupied[index] & over_whole_steps(case, machine, charge, outlet)
            for index, outlet in enumerate(outlets)
        ]
    )
    met = dict.fromkeys(PRIORITIES, 0)
    shortfall = 0.0
    for need, have in zip(case.agenda.needs[machine.name], charge.have_wh, strict=True):
        if have >= need.need_wh - MET_WH:
            met[need.priority] += 1
        else:
            shortfall += need.need_wh - have
    return Column(
        occupied,
        over,
        charge.wall_wh,
        charge.peak_w,
        (met["must"], met["should"], met["could"]),
        shortfall,
        changes,
    )


@dataclass
class _Tables:
    """Columns of one machine, stacked."""

    occupied: Flags
    over: Flags
    wall_wh: Floats
    peak_w: Floats
    score: Floats  # met as one number, shortfall, changes
    supply: str


def _stack(columns: list[Column], supply: str) -> _Tables:
    return _Tables(
        np.array([column.occupied for column in columns]),
        np.array([column.over for column in columns]),
        np.array([column.wall_wh for column in columns]),
        np.array([column.peak_w for column in columns]),
        np.array(
            [
                (
                    column.met[0] * 1e6 + column.met[1] * 1e3 + column.met[2],
                    column.shortfall_wh,
                    column.changes,
                )
                for column in columns
            ]
        ),
        supply,
    )


def best_by_trying_everything(case: Case, slack_wh: float = 0.0) -> Best:
    """Find the lexicographic best of all plans; R4 is eased by `slack_wh`.

    Raises
    ------
    TooBig
        If the yard has too many combinations.
    """
    machines = [_stack(machine_columns(case, machine), machine.supply) for machine in case.yard.machines]
    houses = _house_schedules(case)
    chosen = _plans_without_double_use(case, machines)
    if len(chosen) * len(houses) > MOST_COMBINATIONS:
        raise TooBig
    score = sum(
        (table.score[chosen[:, index]] for index, table in enumerate(machines)), np.zeros((len(chosen), 3))
    )
    order = np.lexsort((score[:, 2], np.round(score[:, 1], 2), -score[:, 0]))
    chosen, score = chosen[order], score[order]
    allowed = allowed_wh(case) - slack_wh
    best: tuple[float, float, float] | None = None
    end_level = -np.inf
    for begin in range(0, len(chosen), BATCH):
        if best is not None and _is_worse(score[begin], best):
            break
        batch, batch_score = chosen[begin : begin + BATCH], score[begin : begin + BATCH]
        ends = _end_levels(case, machines, houses, batch, allowed)
        possible = np.isfinite(ends)
        if best is None and possible.any():
            best = tuple(batch_score[int(np.argmax(possible))])
        if best is not None:
            equal = possible & np.array([not _is_worse(row, best) for row in batch_score])
            end_level = max(end_level, ends[equal].max(initial=-np.inf))
    if best is None:
        msg = "even with nothing plugged in this yard breaks a rule"
        raise AssertionError(msg)
    must, rest = divmod(int(best[0]), 1_000_000)
    should, could = divmod(rest, 1000)
    return Best(must, should, could, float(best[1]), int(best[2]), float(end_level))


def _is_worse(score: Floats, best: tuple[float, float, float]) -> bool:
    if score[0] != best[0]:
        return bool(score[0] < best[0])
    if abs(score[1] - best[1]) > SAME_WH:
        return bool(score[1] > best[1])
    return bool(score[2] > best[2])


def _plans_without_double_use(case: Case, machines: list[_Tables]) -> NDArray[np.int_]:
    """Indices of one column a machine: all combinations with no outlet holding two machines at once (R6)."""
    chosen = np.zeros((1, 0), dtype=int)
    taken = np.zeros((1, len(case.yard.outlets) * case.agenda.grid.n_steps), dtype=np.float32)
    for table in machines:
        occupied = table.occupied.reshape(len(table.occupied), -1).astype(np.float32)
        if len(chosen) * len(occupied) > 20 * MOST_COMBINATIONS:
            raise TooBig
        free = taken @ occupied.T == 0
        before, column = np.nonzero(free)
        if len(before) > MOST_COMBINATIONS:
            raise TooBig
        chosen = np.hstack([chosen[before], column[:, None]])
        taken = taken[before] + occupied[column]
    return chosen


def _house_schedules(case: Case) -> list[list[tuple[str, Flags]]]:
    """Every combination of the duty loads' schedules."""
    n_steps = case.agenda.grid.n_steps
    windows = [[(window.load, on) for on in duty_ways(window, n_steps)] for window in case.agenda.duties]
    return [list(combination) for combination in itertools.product(*windows)]


def _end_levels(
    case: Case,
    machines: list[_Tables],
    houses: list[list[tuple[str, Flags]]],
    chosen: NDArray[np.int_],
    allowed: Floats,
) -> Floats:
    """End level under the likely sun of each plan with its best duty schedule; -inf where R3 to R6 break."""
    n_steps = case.agenda.grid.n_steps
    shape = (len(chosen), n_steps)
    ac_wh, dc_wh, peak_w = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    over = np.zeros((len(chosen), len(case.yard.outlets), n_steps), dtype=bool)
    for index, table in enumerate(machines):
        column = chosen[:, index]
        over |= table.over[column]
        if table.supply == "ac":
            ac_wh += table.wall_wh[column]
            peak_w += table.peak_w[column]
        else:
            dc_wh += table.wall_wh[column]
    breakers = _breakers_hold(case, over)
    ends = np.full(len(chosen), -np.inf)
    for house in houses:
        house_w = np.full(n_steps, house_always_w(case))
        for name, on in house:
            house_w = house_w + load_named(case.yard, name).watts * on
        within = breakers & _inverter_holds(case, peak_w, house_w, house)
        draw = bank_draw_wh(case, ac_wh + house_w * case.agenda.grid.step_h, dc_wh)
        dull, discharge = bank_levels_wh(case, case.suns.dull_w, draw)
        within &= discharge & (dull >= allowed - 1e-9).all(axis=-1)
        likely, _ = bank_levels_wh(case, case.suns.likely_w, draw)
        ends = np.where(within, np.maximum(ends, likely[:, -1]), ends)
    return ends


def _breakers_hold(case: Case, over: Flags) -> Flags:
    """R6: no outlet is above 80 % of its breaker for 3 hours on end."""
    size = round(CONTINUOUS_H / case.agenda.grid.step_h)
    holds = np.ones(len(over), dtype=bool)
    for first in range(over.shape[-1] - size + 1):
        holds &= ~over[..., first : first + size].all(axis=-1).any(axis=-1)
    return holds


def _inverter_holds(case: Case, machines_w: Floats, house_w: Floats, house: list[tuple[str, Flags]]) -> Flags:
    """R5: continuous watts at every peak, and surge watts whenever a running motor may start."""
    inverter = case.yard.inverter
    total = machines_w + house_w
    holds = (total <= inverter.continuous_w + 1e-6).all(axis=-1)
    always = np.ones(case.agenda.grid.n_steps, dtype=bool)
    running = [(load.name, always) for load in case.yard.house_loads if load.always_on] + house
    for name, on in running:
        load = load_named(case.yard, name)
        if load.surge_w is not None:
            starting = total - load.watts + load.surge_w
            holds &= (~on | (starting <= inverter.surge_limit_w + 1e-6)).all(axis=-1)
    return np.asarray(holds)
