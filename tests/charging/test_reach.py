"""What the networks leave out is never missed."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from scheduler.charging import reach
from scheduler.charging.pieces import cut_pieces, outline
from scheduler.charging.places import group_outlets
from scheduler.charging.reach import build_network, enough_for_all_wh
from scheduler.charging.routes import Network
from scheduler.planning import planner
from scheduler.planning.planner import Settings, make_plan
from scheduler.units import READY_TOLERANCE_WH
from tests.oracle_physics import Case
from tests.random_yards import show, tiny_case

MADE_AT = dt.datetime(2027, 6, 9, 5, 0, tzinfo=dt.UTC)


def leave_nothing_out(monkeypatch: pytest.MonkeyPatch) -> None:
    everything = lambda _self, _step, _move, charge: np.ones(len(charge), dtype=bool)  # noqa: E731
    monkeypatch.setattr(reach._Builder, "_worthwhile", everything)


def networks_of(case: Case) -> list[Network]:
    places = group_outlets(case.yard.outlets, case.yard.machines)
    return [build_network(m, case.agenda, places, case.suns.shed_temp_c) for m in case.yard.machines]


@pytest.mark.parametrize("seed", range(340, 360))
def test_what_is_left_out_is_never_missed(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    case = tiny_case(seed, timers=True)
    monkeypatch.setattr(planner, "MOST_LISTED", 10**6)
    lean = make_plan(case.yard, case.agenda, case.suns, Settings(), made_at=MADE_AT)
    routes_lean = sum(network.n_routes for network in networks_of(case))
    leave_nothing_out(monkeypatch)
    # As flows, since whole lists would drop the dominated again.
    monkeypatch.setattr(planner, "MOST_LISTED", 0)
    full = make_plan(case.yard, case.agenda, case.suns, Settings(), made_at=MADE_AT)
    assert routes_lean <= sum(network.n_routes for network in networks_of(case))
    for ours, theirs in zip(lean.aims, full.aims, strict=True):
        assert ours.value == pytest.approx(theirs.value, abs=0.05, rel=1e-4), show(case)


@pytest.mark.parametrize("seed", range(340, 350))
def test_enough_is_what_meets_every_need_to_come_without_a_charger_and_no_more(seed: int) -> None:
    case = tiny_case(seed, timers=True)
    for machine in case.yard.machines:
        needs = case.agenda.needs[machine.name]
        enough = enough_for_all_wh(needs, case.agenda.grid.n_steps)
        for edge, charge in enumerate(enough):
            to_come = [need for need in needs if need.edge > edge]
            assert all(_met(to_come, charge + 1e-9))
            assert not to_come or not all(_met(to_come, charge - 1e-6))


def _met(needs: list, charge_wh: float) -> list[bool]:
    met = []
    for need in needs:
        met.append(charge_wh >= need.need_wh - READY_TOLERANCE_WH)
        charge_wh = max(0.0, charge_wh - need.work_wh)
    return met


@pytest.mark.parametrize("seed", range(340, 352))
def test_every_route_of_an_outline_is_one_of_its_network_and_none_is_lost(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for network in networks_of(tiny_case(seed, timers=True)):
        whole = outline(network)
        pieces = cut_pieces(whole, whole.whole)
        cost = [
            arcs.wall_wh * rng.uniform(-1, 1) + arcs.changes + 100.0 * arcs.short_wh
            for arcs in network.layers
        ]
        least = float(whole.least_through(cost)[0].min())
        assert least == pytest.approx(network.cheapest_route(cost)[0])
        route = pieces.route_of(list(rng.uniform(0, 1, len(pieces))))
        node = 0
        for arcs, arc in zip(network.layers, route, strict=True):
            assert arcs.tail[arc] == node
            node = arcs.head[arc]
