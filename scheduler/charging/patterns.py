"""Patterns: routes written out, one exact draw in every step each, the dominated ones dropped.

A pattern is dominated when another of the same machine draws no more in any step, takes no socket that it
does not take, meets as many needs of each class, leaves no greater shortfall and asks for no more plug changes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scheduler.charging.routes import BoolArray, IntArray, Network
from scheduler.timegrid import FloatArray

_SAME_WH = 1e-6
_PAIRWISE_UP_TO = 2000


@dataclass(frozen=True)
class PatternTable:
    """Patterns of one machine, a row each.

    Attributes
    ----------
    network : Network
    routes : ndarray of int, shape (n, n_steps)
        The arcs each takes.
    wall_wh, peak_w : ndarray, shape (n, n_steps)
        Energy and largest draw at the wall in each step.
    place : ndarray of int, shape (n, n_steps)
        The place it is in, -1 where it is in none.
    hot : ndarray of bool, shape (n, n_steps)
        More than 80 % of its breaker's rating for the whole step.
    met : ndarray of int, shape (n, 3)
        Needs met by class.
    short_wh : ndarray, shape (n,)
        What is missing for the needs not met, over all of them [Wh].
    changes : ndarray of int, shape (n,)
        Plugs put in or pulled at visits.
    """

    network: Network
    routes: IntArray
    wall_wh: FloatArray
    peak_w: FloatArray
    place: IntArray
    hot: BoolArray
    met: IntArray
    short_wh: FloatArray
    changes: IntArray

    def __len__(self) -> int:
        """Return how many patterns there are."""
        return len(self.routes)

    def keep(self, rows: BoolArray | IntArray) -> PatternTable:
        """Return only the patterns asked for."""
        columns = {name: getattr(self, name)[rows] for name in self.__dataclass_fields__ if name != "network"}
        return PatternTable(network=self.network, **columns)

    def extended(self, routes: IntArray) -> PatternTable:
        """Return the table with the patterns of more routes at its end, those it has already left out."""
        known = {route.tobytes() for route in self.routes}
        new = routes[[route.tobytes() not in known for route in routes]]
        if not len(new):
            return self
        more = write_out(self.network, np.unique(new, axis=0))
        columns = {
            name: np.concatenate([getattr(self, name), getattr(more, name)])
            for name in self.__dataclass_fields__
            if name != "network"
        }
        return PatternTable(network=self.network, **columns)

    def row_of(self, route: IntArray) -> int:
        """Find the row of a route that the table holds."""
        return int(np.flatnonzero((self.routes == route).all(axis=1))[0])

    def mode(self, row: int) -> IntArray:
        """Mode of each step of one pattern, shape (n_steps,)."""
        layers = self.network.layers
        return np.array([arcs.mode[arc] for arcs, arc in zip(layers, self.routes[row], strict=True)])

    def charge_wh(self, row: int) -> FloatArray:
        """Charge on each edge of one pattern, after the work taken there [Wh], shape (n_steps + 1,)."""
        network = self.network
        nodes = [0, *(arcs.head[arc] for arcs, arc in zip(network.layers, self.routes[row], strict=True))]
        return np.array([charge[node] for charge, node in zip(network.charge_wh, nodes, strict=True)])


def write_out(network: Network, routes: IntArray) -> PatternTable:
    """Patterns of the given routes, shape (n, n_steps) of arcs."""
    layers = network.layers
    place_of_mode = np.array([-1 if mode.place is None else mode.place for mode in network.modes])

    def along(name: str) -> FloatArray:
        columns = [getattr(arcs, name)[routes[:, step]] for step, arcs in enumerate(layers)]
        return np.stack(columns, axis=1)

    met = network.at_start.met[0] + sum(arcs.met[routes[:, step]] for step, arcs in enumerate(layers))
    return PatternTable(
        network=network,
        routes=routes,
        wall_wh=along("wall_wh"),
        peak_w=along("peak_w"),
        place=place_of_mode[along("mode")],
        hot=along("hot").astype(bool),
        met=met,
        short_wh=network.at_start.short_wh[0] + along("short_wh").sum(axis=1),
        changes=along("changes").sum(axis=1),
    )


def list_patterns(network: Network) -> PatternTable:
    """Every pattern that may be worth choosing."""
    return drop_dominated(write_out(network, network.all_routes()))


def drop_dominated(table: PatternTable) -> PatternTable:
    """Leave out what another pattern does as well with less."""
    table = table.keep(_best_of_equal_draws(table))
    if len(table) > _PAIRWISE_UP_TO:
        return table
    return table.keep(~_dominated(table))


def _best_of_equal_draws(table: PatternTable) -> IntArray:
    """Of patterns alike in draw and places keep that with the fewest changes (needs follow from the draw)."""
    alike = np.concatenate([np.rint(table.wall_wh / _SAME_WH).astype(np.int64), table.place], axis=1)
    rows = np.ascontiguousarray(alike).view(np.dtype((np.void, alike.dtype.itemsize * alike.shape[1])))
    order = np.argsort(table.changes, kind="stable")
    _, first = np.unique(rows.ravel()[order], return_index=True)
    return np.sort(order[first])


def _dominated(table: PatternTable) -> BoolArray:
    dominated = np.zeros(len(table), dtype=bool)
    for row in range(len(table)):
        better = (
            (table.changes <= table.changes[row])
            & (table.short_wh <= table.short_wh[row] + _SAME_WH)
            & (table.met >= table.met[row]).all(axis=1)
            & ~dominated
        )
        better[row] = False
        rivals = np.flatnonzero(better)
        lean = (table.wall_wh[rivals] <= table.wall_wh[row] + _SAME_WH).all(axis=1)
        rivals = rivals[lean]
        lean = (table.peak_w[rivals] <= table.peak_w[row] + _SAME_WH).all(axis=1)
        lean &= ((table.place[rivals] == table.place[row]) | (table.place[rivals] < 0)).all(axis=1)
        dominated[row] = bool(lean.any())
    return dominated
