"""The plan as JSON, format ``sunroster.plan/1``: versioned, stable, for other programs.

Moments are ISO 8601 with the site's offset, energies Wh, powers W; series over the steps have n entries,
those over their edges n + 1. Fields may be added within version 1, none renamed or removed.
"""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Iterable
from typing import Any

from scheduler.planning.record import (
    Because,
    MachinePlan,
    NeedPlan,
    Plan,
    PlugAction,
    ReplayReport,
    VisitPlan,
)
from scheduler.timegrid import Grid
from scheduler.yard.models import PRIORITIES, Yard

FORMAT = "sunroster.plan/1"

#: Digits kept of W, Wh and percent: a thousandth is far below anything that can be measured, and below
#: every tolerance by which plans are judged, so that rounding turns no verdict.
_DIGITS = 3


def render_plan_json(plan: Plan, yard: Yard) -> str:
    """Write the plan as JSON text, strictly: no NaN, no infinity."""
    return json.dumps(plan_to_json(plan, yard), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def plan_to_json(plan: Plan, yard: Yard) -> dict[str, Any]:
    """Turn the plan into what JSON can hold.

    Raises
    ------
    ValueError
        If a figure of the plan is not finite.
    """
    grid, bank = plan.grid, plan.bank
    return {
        "format": FORMAT,
        "site": plan.site,
        "timezone": yard.site.timezone,
        "made_at": plan.made_at.astimezone(grid.zone).isoformat(timespec="seconds"),
        "made_by": plan.made_by,
        "step_minutes": grid.step_minutes,
        "starts": [_moment(grid, step) for step in range(grid.n_steps)],
        "sun_w": {name: _series(watts) for name, watts in plan.suns.by_name.items()},
        "sun_source": plan.suns.source,
        "shed_temp_c": _series(plan.suns.shed_temp_c),
        "bank": {
            "capacity_wh": _number(bank.capacity_wh),
            "reserve_wh": _number(bank.reserve_wh),
            "start_wh": _number(bank.level_wh["dull"][0]),
            "level_wh": {name: _series(level) for name, level in bank.level_wh.items()},
            "allowed_wh": _series(bank.allowed_wh),
        },
        "machines": [_machine(machine, grid) for machine in plan.machines],
        "house_loads": [{"name": load.name, "wall_wh": _series(load.wall_wh)} for load in plan.house_loads],
        "inverter_peak_w": _series(plan.inverter_peak_w),
        "visits": [_visit(visit, grid) for visit in plan.visits],
        "aims": [
            {
                "name": aim.name,
                "value": _number(aim.value),
                "status": aim.status.value,
                "gap": None if aim.gap is None else _finite(aim.gap),
                "seconds": _number(aim.seconds),
            }
            for aim in plan.aims
        ],
        "replay": None if plan.replay is None else _replay(plan.replay, grid),
        "compared_with": [
            {
                "name": rule.name,
                **{priority: int(rule.met.get(priority, 0)) for priority in PRIORITIES},
                "ac_off_h": _number(rule.ac_off_h),
            }
            for rule in plan.compared_with
        ],
        "notes": list(plan.notes),
    }


def _machine(machine: MachinePlan, grid: Grid) -> dict[str, Any]:
    return {
        "name": machine.name,
        "outlet": list(machine.outlet),
        "plugged": [bool(on) for on in machine.plugged],
        "wall_wh": _series(machine.wall_wh),
        "charge_wh": _series(machine.charge_wh),
        "needs": [_need(need, grid) for need in machine.needs],
    }


def _need(need: NeedPlan, grid: Grid) -> dict[str, Any]:
    return {
        "ready_by": _moment(grid, need.edge),
        "need_wh": _number(need.need_wh),
        "have_wh": _number(need.have_wh),
        "ready": bool(need.ready),
        "priority": need.priority,
        "because": None if need.ready or need.because is None else _because(need.because),
        "would_help": [] if need.ready else list(need.would_help),
    }


def _because(because: Because) -> dict[str, str]:
    return {"rule": because.rule, "text": because.text}


def _visit(visit: VisitPlan, grid: Grid) -> dict[str, Any]:
    return {
        "at": _moment(grid, visit.edge),
        "plug": [_action(action, grid) for action in visit.plug],
        "unplug": [_action(action, grid) for action in visit.unplug],
        "bank_pct": {name: _number(pct) for name, pct in visit.bank_pct.items()},
        "if_at_least": [
            {
                "bank_pct": int(line.bank_pct),
                "machine": line.machine,
                "outlet": line.outlet,
                "timer": _timer(line.timer, grid),
            }
            for line in visit.if_at_least
        ],
        "if_below": [{"bank_pct": int(line.bank_pct), "machine": line.machine} for line in visit.if_below],
    }


def _action(action: PlugAction, grid: Grid) -> dict[str, Any]:
    return {"machine": action.machine, "outlet": action.outlet, "timer": _timer(action.timer, grid)}


def _timer(timer: tuple[int, int] | None, grid: Grid) -> dict[str, str] | None:
    return None if timer is None else {"on": _moment(grid, timer[0]), "off": _moment(grid, timer[1])}


def _replay(replay: ReplayReport, grid: Grid) -> dict[str, Any]:
    return {
        "violations": [
            {
                "rule": violation.rule,
                "at": _moment(grid, violation.edge),
                "amount": _number(violation.amount),
                "text": violation.text,
            }
            for violation in replay.violations
        ],
        "largest_difference_wh": _number(replay.largest_difference_wh),
    }


def _moment(grid: Grid, edge: int) -> str:
    local: dt.datetime = grid.local(int(edge))
    return local.isoformat(timespec="seconds")


def _series(values: Iterable[float]) -> list[float]:
    return [_number(value) for value in values]


def _number(value: float) -> float:
    """Round to a thousandth; adding zero turns -0.0 into 0.0."""
    return round(_finite(value), _DIGITS) + 0.0


def _finite(value: float) -> float:
    if not math.isfinite(value):
        msg = f"the plan holds {value}, which JSON cannot carry"
        raise ValueError(msg)
    return float(value)
