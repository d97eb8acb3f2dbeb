"""The main job: from yard, agenda and suns to a plan that its replay has looked at."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace

from scheduler.charging.patterns import list_patterns
from scheduler.charging.places import group_outlets
from scheduler.charging.reach import build_network
from scheduler.planning.aims import Chosen, choose
from scheduler.planning.assemble import (
    build_bank,
    build_house_loads,
    build_machines,
    build_visits,
    name_outlets,
    stays_of,
)
from scheduler.planning.careful import careful_selection
from scheduler.planning.iflines import add_if_lines
from scheduler.planning.model import Case
from scheduler.planning.parts import MOST_LISTED, first_parts, first_patterns
from scheduler.planning.reasons import explain
from scheduler.planning.record import Plan
from scheduler.planning.replay import replay_plan
from scheduler.planning.selection import Selection, draws_of
from scheduler.planning.settle import settle
from scheduler.planning.shortage import fare_alone
from scheduler.planning.thumb import compare_rules_of_thumb
from scheduler.sun.suns import ThreeSuns
from scheduler.yard.agenda import Agenda
from scheduler.yard.models import Yard

#: Told what is being done, and how much of it all is behind, 0 to 1.
Tell = Callable[[str, float], None]


def _tell_nobody(what: str, done: float) -> None:
    """Nobody wants to know."""


@dataclass(frozen=True)
class Settings:
    """What bounds the planner.

    Parameters
    ----------
    aim_limit_s : float
        Wall-clock limit of each aim [s].
    reasons_limit_s : float
        Wall-clock limit of all solving for reasons together [s].
    """

    aim_limit_s: float = 10.0
    reasons_limit_s: float = 10.0


def make_plan(
    yard: Yard,
    agenda: Agenda,
    suns: ThreeSuns,
    settings: Settings,
    made_at: dt.datetime,
    tell: Tell = _tell_nobody,
    door: Plan | None = None,
) -> Plan:
    """Plan, and replay the plan; whoever shows it looks at `plan.replay` first.

    Parameters
    ----------
    yard : Yard
    agenda : Agenda
        Of the same yard; its grid is the plan's.
    suns : ThreeSuns
        On the same grid.
    settings : Settings
    made_at : datetime
        Stands on the plan.
    tell : callable
        Told of the progress.
    door : Plan, optional
        The plan whose page hangs on the door: outlets that are alike are used as it has them.
    """
    chosen, selection = _choose(yard, agenda, suns, settings, tell)
    plan = _assemble(chosen, selection, made_at, door)
    tell("reasons", 0.7)
    machines = explain(chosen.case, selection, plan.machines, settings.reasons_limit_s)
    thumb = compare_rules_of_thumb(yard, agenda, suns, selection.duty)
    tell("replay", 0.9)
    plan = replace(plan, machines=machines, compared_with=thumb)
    return replace(plan, replay=replay_plan(yard, agenda, suns, plan))


def draw_up_plan(
    yard: Yard,
    agenda: Agenda,
    suns: ThreeSuns,
    settings: Settings,
    made_at: dt.datetime,
    tell: Tell = _tell_nobody,
) -> Plan:
    """Plan without reasons, comparison and replay, for whoever lives the plan and shows it to nobody.

    Parameters as for `make_plan`.
    """
    chosen, selection = _choose(yard, agenda, suns, settings, tell)
    return _assemble(chosen, selection, made_at)


def _choose(
    yard: Yard, agenda: Agenda, suns: ThreeSuns, settings: Settings, tell: Tell
) -> tuple[Chosen, Selection]:
    tell("what each machine may do", 0.2)
    case = build_case(yard, agenda, suns)
    chosen = choose(case, careful_selection(case), settings.aim_limit_s, lambda aim: tell(aim, 0.3))
    spared, selection = settle(chosen.case, chosen.selection)
    return replace(chosen, case=spared), selection


def build_case(yard: Yard, agenda: Agenda, suns: ThreeSuns) -> Case:
    """List what every machine may do, and what the house alone does."""
    places = group_outlets(yard.outlets, yard.machines)
    networks = [build_network(machine, agenda, places, suns.shed_temp_c) for machine in yard.machines]
    tables = tuple(
        first_patterns(network, suns.dull_w) if network.n_routes > MOST_LISTED else list_patterns(network)
        for network in networks
    )
    many = {n: table for n, table in enumerate(tables) if table.network.n_routes > MOST_LISTED}
    house = fare_alone(yard, agenda, suns, networks)
    return Case(yard, agenda, suns, places, tables, house, first_parts(many))


def _assemble(chosen: Chosen, selection: Selection, made_at: dt.datetime, door: Plan | None = None) -> Plan:
    case = chosen.case
    stays = [
        stay
        for number, table in enumerate(case.tables)
        for stay in stays_of(case, number, table.mode(selection.rows[number]))
    ]
    named = name_outlets(case, stays, door)
    bank = build_bank(case, selection)
    machines = build_machines(case, selection, named)
    return Plan(
        site=case.yard.site.name,
        grid=case.agenda.grid,
        made_at=made_at,
        made_by=chosen.made_by,
        suns=case.suns,
        bank=bank,
        machines=machines,
        house_loads=build_house_loads(case, selection),
        inverter_peak_w=draws_of(case, selection).peak_w,
        visits=add_if_lines(case, selection, machines, named, build_visits(case, named, bank)),
        aims=chosen.aims if case.house.aim is None else (case.house.aim, *chosen.aims),
        replay=None,
        compared_with=(),
        notes=(*case.agenda.notes, *chosen.remarks),
    )
