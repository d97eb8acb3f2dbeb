"""Small yards built by hand for the replay, and plans whose figures are the replay's own.

Such a plan is true by construction, so that a test can bend just one thing; whether the replay's figures are
right is for the tests of its physics, which compare them with sums done by hand.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.planning.record import (
    BankPlan,
    HouseLoadPlan,
    MachinePlan,
    NeedPlan,
    Plan,
    PlugAction,
    ReplayReport,
    VisitPlan,
)
from scheduler.planning.replay import replay_plan
from scheduler.planning.replay_case import leave_to_house
from scheduler.planning.replay_hands import follow_actions
from scheduler.planning.replay_physics import Decisions, Physics, run_yard
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import Grid
from scheduler.units import READY_TOLERANCE_WH
from scheduler.yard.agenda import Agenda, DueNeed, DutyWindow
from scheduler.yard.models import Array, Bank, HouseLoad, Inverter, Machine, Outlet, Site, Visits, Yard

START = dt.datetime(2027, 6, 9, 10, 0, tzinfo=dt.UTC)  # Wednesday, 06:00 on the yard's clock
ZONE = ZoneInfo("America/New_York")


def make_bank(**changes: Any) -> Bank:
    """10 kWh, half full, without losses or limits unless asked for."""
    plain = {
        "modules_wh": (5000.0, 5000.0),
        "reserve_pct": 10.0,
        "level_pct": 50.0,
        "charge_efficiency_pct": 100.0,
        "discharge_efficiency_pct": 100.0,
    }
    return Bank(**{**plain, **changes})


def make_inverter(**changes: Any) -> Inverter:
    """Return an inverter without losses or idle draw unless asked for."""
    return Inverter(**{"continuous_w": 5000.0, "efficiency_pct": 100.0, "idle_w": 0.0, **changes})


def make_machine(name: str = "mower", **changes: Any) -> Machine:
    """5 kWh, a fifth full, 500 W at a charger without losses: flat for 6 hours."""
    plain = {
        "name": name,
        "battery_wh": 5000.0,
        "charger_w": 500.0,
        "charger_efficiency_pct": 100.0,
        "charge_pct": 20.0,
    }
    return Machine(**{**plain, **changes})


def make_yard(
    *machines: Machine,
    outlets: Sequence[Outlet] = (),
    house_loads: Sequence[HouseLoad] = (),
    bank: Bank | None = None,
    inverter: Inverter | None = None,
) -> Yard:
    """Return a yard with two AC outlets and the machines."""
    plain = (Outlet(name="east", kind="ac"), Outlet(name="west", kind="ac", timer=True))
    return Yard(
        site=Site(latitude=36.1, longitude=-79.95, timezone="America/New_York"),
        arrays=(Array(name="roof", panels=4, panel_w=400.0, tilt_deg=20.0, azimuth_deg=180.0),),
        bank=bank or make_bank(),
        inverter=inverter or make_inverter(),
        outlets=tuple(outlets) or plain,
        house_loads=tuple(house_loads),
        visits=Visits(times=()),
        machines=machines,
    )


def make_need(edge: int, need_wh: float = 0.0, *, work_wh: float = 0.0, back: int | None = None) -> DueNeed:
    """Return a need at an edge, away until `back` if that is given."""
    return DueNeed(edge, edge if back is None else back, need_wh, work_wh, "should")


def make_agenda(
    yard: Yard,
    n_steps: int = 8,
    step_minutes: int = 60,
    visits: Sequence[int] = (0,),
    needs: Mapping[str, Sequence[DueNeed]] | None = None,
    duties: Sequence[DutyWindow] = (),
) -> Agenda:
    """Put the yard on a grid; somebody stands there at the start unless `visits` says otherwise."""
    due = {machine.name: tuple((needs or {}).get(machine.name, ())) for machine in yard.machines}
    away = {name: np.zeros(n_steps, dtype=bool) for name in due}
    for name, own in due.items():
        for need in own:
            away[name][need.edge : need.return_edge] = True
    grid = Grid(START, step_minutes, n_steps, ZONE)
    return Agenda(grid, tuple(visits), due, away, tuple(duties), ())


def make_suns(
    agenda: Agenda, dull_w: Sequence[float] = (0.0,), temp_c: Sequence[float] = (20.0,)
) -> ThreeSuns:
    """Repeat the dull sun's watts over the grid; the likely sun is 1.5, the bright one 2 times as strong."""
    dull = np.resize(np.asarray(dull_w, dtype=float), agenda.grid.n_steps)
    temp = np.resize(np.asarray(temp_c, dtype=float), agenda.grid.n_steps)
    return ThreeSuns(agenda.grid, dull, dull * 1.5, dull * 2.0, temp, "made by hand")


def plug(machine: str = "mower", outlet: str = "east", timer: tuple[int, int] | None = None) -> PlugAction:
    """Return an action on a machine."""
    return PlugAction(machine, outlet, timer)


def visit(edge: int, plugs: Sequence[PlugAction] = (), unplugs: Sequence[PlugAction] = ()) -> VisitPlan:
    """Return a visit; the bank's level is filled in by `make_plan`."""
    return VisitPlan(edge, tuple(plugs), tuple(unplugs), {})


def make_plan(
    yard: Yard,
    agenda: Agenda,
    suns: ThreeSuns,
    visits: Sequence[VisitPlan] = (),
    house_on: Mapping[str, Sequence[int]] | None = None,
) -> Plan:
    """Return the plan that the visits' actions and the duty loads' steps make, with true figures."""
    followed = follow_actions(yard, agenda, visits)
    on = np.array(
        [
            [load.always_on or step in (house_on or {}).get(load.name, ()) for load in yard.house_loads]
            for step in range(agenda.grid.n_steps)
        ],
        dtype=bool,
    ).reshape(agenda.grid.n_steps, len(yard.house_loads))
    return plan_from(yard, agenda, suns, Decisions(followed.outlet, followed.plugged, on), visits)


def plan_from(
    yard: Yard, agenda: Agenda, suns: ThreeSuns, decisions: Decisions, visits: Sequence[VisitPlan] = ()
) -> Plan:
    """Return the plan of any decisions, with true figures."""
    sun_w = np.stack([suns.dull_w, suns.likely_w, suns.bright_w], axis=1)
    own = run_yard(yard, agenda, sun_w, suns.shed_temp_c, decisions)
    house = run_yard(yard, agenda, sun_w, suns.shed_temp_c, leave_to_house(yard, agenda, decisions))
    grid, capacity_wh = agenda.grid, yard.bank.capacity_wh
    levels = {sun: own.bank.level_wh[:, column] for column, sun in enumerate(suns.by_name)}
    allowed_wh = np.minimum(yard.bank.reserve_wh, house.bank.level_wh[:, 0])
    return Plan(
        site=yard.site.name,
        grid=grid,
        made_at=START,
        made_by="hand",
        suns=suns,
        bank=BankPlan(capacity_wh, yard.bank.reserve_wh, levels, allowed_wh),
        machines=tuple(
            _machine_plan(machine, column, agenda, decisions, own)
            for column, machine in enumerate(yard.machines)
        ),
        house_loads=tuple(
            HouseLoadPlan(load.name, load.watts * grid.step_h * decisions.house_on[:, column])
            for column, load in enumerate(yard.house_loads)
        ),
        inverter_peak_w=own.loads.ac_w.reshape(grid.n_steps, grid.step_minutes).max(axis=1),
        visits=tuple(
            VisitPlan(
                item.edge,
                item.plug,
                item.unplug,
                {sun: 100.0 * float(level_wh[item.edge]) / capacity_wh for sun, level_wh in levels.items()},
            )
            for item in visits
        ),
        aims=(),
        replay=None,
        compared_with=(),
        notes=(),
    )


def _machine_plan(
    machine: Machine, column: int, agenda: Agenda, decisions: Decisions, own: Physics
) -> MachinePlan:
    return MachinePlan(
        name=machine.name,
        outlet=decisions.outlet[column],
        plugged=decisions.plugged[:, column],
        wall_wh=own.loads.wall_wh[:, column],
        charge_wh=own.loads.charge_wh[:, column],
        needs=tuple(
            NeedPlan(
                due.edge, due.need_wh, have_wh, have_wh >= due.need_wh - READY_TOLERANCE_WH, due.priority
            )
            for due, have_wh in zip(agenda.needs[machine.name], own.loads.have_wh[column], strict=True)
        ),
    )


def replay(
    yard: Yard,
    agenda: Agenda,
    visits: Sequence[VisitPlan] = (),
    suns: ThreeSuns | None = None,
    house_on: Mapping[str, Sequence[int]] | None = None,
) -> ReplayReport:
    """Make the plan of these actions and replay it."""
    suns = suns or make_suns(agenda)
    return replay_plan(yard, agenda, suns, make_plan(yard, agenda, suns, visits, house_on))


def found(report: ReplayReport) -> list[tuple[str, int, float]]:
    """Return rule, edge and amount of each violation, in the report's order."""
    return [(item.rule, item.edge, round(item.amount, 6)) for item in report.violations]
