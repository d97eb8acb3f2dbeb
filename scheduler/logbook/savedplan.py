"""A plan that was saved as JSON, such as the one whose page hangs on the door, read back."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from scheduler.errors import SavedPlanError
from scheduler.logbook.strangers import is_of_another_yard
from scheduler.planning.planjson import FORMAT
from scheduler.planning.record import (
    Aim,
    AimStatus,
    BankPlan,
    Because,
    HouseLoadPlan,
    IfAtLeast,
    IfBelow,
    MachinePlan,
    NeedPlan,
    Plan,
    PlugAction,
    ReplayReport,
    RuleOfThumb,
    Violation,
    VisitPlan,
)
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import STEP_MINUTES, FloatArray, Grid
from scheduler.yard.models import PRIORITIES, Yard

_MAKE_ONE = "make one with: sunroster plan my-yard.toml --json door.json"

#: A week in quarter hours of a hundred machines is half of it; JSON takes many times its size when it is read.
MOST_BYTES = 20_000_000


def read_saved_plan(path: Path, yard: Yard) -> Plan:
    """Read a plan that `plan --json` wrote.

    Parameters
    ----------
    path : Path
    yard : Yard
        The plan must be of it. It may have other names for some machines and outlets, which were given since.

    Raises
    ------
    SavedPlanError
        If it is no plan, or that of another yard.
    """
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
        if len(content) > MOST_BYTES:
            problem = f"more than {MOST_BYTES // 1_000_000} MB is no saved plan; {_MAKE_ONE}"
            raise SavedPlanError(path, [problem])
        data = json.loads(content)
    except OSError as fault:
        raise SavedPlanError(path, [f"can't be read: {fault.strerror}; {_MAKE_ONE}"]) from fault
    except (ValueError, RecursionError) as fault:
        raise SavedPlanError(path, [f"no JSON; {_MAKE_ONE}"]) from fault
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise SavedPlanError(path, [f"no plan of format {FORMAT}; {_MAKE_ONE}"])
    if data.get("site") != yard.site.name:
        problem = f'the plan of another yard, "{data.get("site")}"; wanted one of "{yard.site.name}"'
        raise SavedPlanError(path, [problem])
    try:
        plan = plan_from_json(data)
    except KeyError as fault:
        raise SavedPlanError(path, [f"its field {fault} is missing; {_MAKE_ONE}"]) from fault
    except (ArithmeticError, AttributeError, IndexError, TypeError, ValueError) as fault:
        raise SavedPlanError(path, [f"a plan that was changed or cut off; {_MAKE_ONE}"]) from fault
    if is_of_another_yard(plan, yard):
        # A yard without a name passes for any other without one.
        theirs, ours = (", ".join(machine.name for machine in of.machines) for of in (plan, yard))
        problem = (
            f"the plan of another yard: it is of {theirs}, this yard has {ours}; if they were given new names since, "
            "put these into the plan too"
        )
        raise SavedPlanError(path, [problem])
    return plan


def plan_from_json(data: dict[str, Any]) -> Plan:
    """Turn back what `plan_to_json` made; figures keep the digits that it left them.

    Raises
    ------
    ArithmeticError, AttributeError, KeyError, IndexError, TypeError, ValueError
        If something else was made of it since.
    """
    starts = [dt.datetime.fromisoformat(text) for text in data["starts"]]
    zone = _zone(data["timezone"])
    grid = Grid(starts[0].astimezone(dt.UTC), int(data["step_minutes"]), len(starts), zone)
    if grid.step_minutes not in STEP_MINUTES or [grid.edge(n) for n in range(grid.n_steps)] != starts:
        msg = "wanted equal steps"
        raise ValueError(msg)
    bank = data["bank"]
    return Plan(
        site=data["site"],
        grid=grid,
        made_at=dt.datetime.fromisoformat(data["made_at"]).astimezone(dt.UTC),
        made_by=data["made_by"],
        suns=ThreeSuns(
            grid=grid,
            dull_w=_steps(data["sun_w"]["dull"], grid),
            likely_w=_steps(data["sun_w"]["likely"], grid),
            bright_w=_steps(data["sun_w"]["bright"], grid),
            shed_temp_c=_steps(data["shed_temp_c"], grid),
            source=data["sun_source"],
        ),
        bank=BankPlan(
            capacity_wh=float(bank["capacity_wh"]),
            reserve_wh=float(bank["reserve_wh"]),
            level_wh={sun: _edges(bank["level_wh"][sun], grid) for sun in ("dull", "likely", "bright")},
            allowed_wh=_edges(bank["allowed_wh"], grid),
        ),
        machines=tuple(_machine(machine, grid) for machine in data["machines"]),
        house_loads=tuple(
            HouseLoadPlan(load["name"], _steps(load["wall_wh"], grid)) for load in data["house_loads"]
        ),
        inverter_peak_w=_steps(data["inverter_peak_w"], grid),
        visits=tuple(_visit(visit, grid) for visit in data["visits"]),
        aims=tuple(
            Aim(aim["name"], aim["value"], AimStatus(aim["status"]), aim["gap"], aim["seconds"])
            for aim in data["aims"]
        ),
        replay=None if data["replay"] is None else _replay(data["replay"], grid),
        compared_with=tuple(
            RuleOfThumb(rule["name"], {priority: rule[priority] for priority in PRIORITIES}, rule["ac_off_h"])
            for rule in data["compared_with"]
        ),
        notes=tuple(data["notes"]),
    )


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, OSError) as fault:
        msg = "no such time zone"
        raise ValueError(msg) from fault


def _steps(values: list[float], grid: Grid) -> FloatArray:
    return _numbers(values, grid.n_steps)


def _edges(values: list[float], grid: Grid) -> FloatArray:
    return _numbers(values, grid.n_steps + 1)


def _numbers(values: list[float], count: int) -> FloatArray:
    numbers = np.array(values, dtype=np.float64)
    if numbers.shape != (count,) or not np.isfinite(numbers).all():
        msg = f"wanted {count} numbers"
        raise ValueError(msg)
    return numbers


def _edge(moment: str, grid: Grid) -> int:
    return grid.index_of(dt.datetime.fromisoformat(moment).astimezone(dt.UTC))


def _machine(machine: dict[str, Any], grid: Grid) -> MachinePlan:
    if len(machine["outlet"]) != grid.n_steps or len(machine["plugged"]) != grid.n_steps:
        msg = f"wanted {grid.n_steps} outlets"
        raise ValueError(msg)
    return MachinePlan(
        name=machine["name"],
        outlet=tuple(machine["outlet"]),
        plugged=np.array(machine["plugged"], dtype=np.bool_),
        wall_wh=_steps(machine["wall_wh"], grid),
        charge_wh=_edges(machine["charge_wh"], grid),
        needs=tuple(_need(need, grid) for need in machine["needs"]),
    )


def _need(need: dict[str, Any], grid: Grid) -> NeedPlan:
    because = need["because"]
    return NeedPlan(
        edge=_edge(need["ready_by"], grid),
        need_wh=need["need_wh"],
        have_wh=need["have_wh"],
        ready=need["ready"],
        priority=need["priority"],
        because=None if because is None else Because(because["rule"], because["text"]),
        would_help=tuple(need["would_help"]),
    )


def _visit(visit: dict[str, Any], grid: Grid) -> VisitPlan:
    return VisitPlan(
        edge=_edge(visit["at"], grid),
        plug=tuple(_action(action, grid) for action in visit["plug"]),
        unplug=tuple(_action(action, grid) for action in visit["unplug"]),
        bank_pct={sun: float(visit["bank_pct"][sun]) for sun in ("dull", "likely", "bright")},
        if_at_least=tuple(
            IfAtLeast(int(line["bank_pct"]), line["machine"], line["outlet"], _timer(line["timer"], grid))
            for line in visit["if_at_least"]
        ),
        if_below=tuple(IfBelow(int(line["bank_pct"]), line["machine"]) for line in visit["if_below"]),
    )


def _action(action: dict[str, Any], grid: Grid) -> PlugAction:
    return PlugAction(action["machine"], action["outlet"], _timer(action["timer"], grid))


def _timer(timer: dict[str, str] | None, grid: Grid) -> tuple[int, int] | None:
    return None if timer is None else (_edge(timer["on"], grid), _edge(timer["off"], grid))


def _replay(replay: dict[str, Any], grid: Grid) -> ReplayReport:
    violations = tuple(
        Violation(found["rule"], _edge(found["at"], grid), found["amount"], found["text"])
        for found in replay["violations"]
    )
    return ReplayReport(violations, replay["largest_difference_wh"])
