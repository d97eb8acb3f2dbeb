"""Plans made by hand for the tests: who stays where is written down, the physics follows from it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np

from scheduler.charging.curve import ChargeCurve
from scheduler.planning.bank import bank_path, dc_demand_w
from scheduler.planning.house import duty_watts, sunniest_duty
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
    VisitPlan,
)
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import Grid, moment_on_clock
from scheduler.units import READY_TOLERANCE_WH
from scheduler.yard.agenda import Agenda, Span, build_agenda
from scheduler.yard.models import PRIORITIES, Machine, Yard

BECAUSE = Because("R4", "the dull-sun reserve binds from Wed 04:00")
WOULD_HELP = ("a visit at 15:00", "0.6 kWh more in the bank")


@dataclass(frozen=True)
class Stay:
    """A machine in an outlet from one edge to another; a timer makes it on only between the timer's edges."""

    machine: str
    outlet: str
    first: int
    last: int
    timer: tuple[int, int] | None = None


def yard_with(machines: list[dict], **tables) -> Yard:
    """A yard with four outlets, the last one DC, and visits at 07:00, 12:30 and 18:00."""
    tables.setdefault(
        "site",
        {
            "name": "Sweetgum Lane store",
            "latitude": 36.1,
            "longitude": -79.95,
            "timezone": "America/New_York",
        },
    )
    tables.setdefault(
        "arrays",
        ({"name": "south roof", "panels": 6, "panel_w": 400.0, "tilt_deg": 22.0, "azimuth_deg": 170.0},),
    )
    tables.setdefault(
        "bank",
        {"modules_wh": (5120.0, 5120.0), "reserve_pct": 25.0, "level_pct": 78.0, "charge_max_w": 2400.0},
    )
    tables.setdefault(
        "inverter", {"continuous_w": 2400.0, "surge_w": 4800.0, "efficiency_pct": 91.0, "idle_w": 24.0}
    )
    tables.setdefault(
        "outlets",
        (
            {"name": "A", "kind": "ac", "breaker_a": 15.0},
            {"name": "B", "kind": "ac", "breaker_a": 15.0},
            {"name": "C", "kind": "ac", "breaker_a": 20.0, "timer": True},
            {"name": "D", "kind": "dc", "max_w": 200.0},
        ),
    )
    tables.setdefault(
        "house_loads",
        (
            {"name": "gate and router", "watts": 22.0, "always_on": True},
            {
                "name": "dehumidifier",
                "watts": 240.0,
                "surge_w": 700.0,
                "hours_per_day": 4.0,
                "window": ("09:00", "18:00"),
                "min_block_h": 1.0,
            },
        ),
    )
    tables.setdefault("visits", {"times": ("07:00", "12:30", "18:00")})
    return Yard.model_validate({**tables, "machines": tuple(machines)})


def make_suns(grid: Grid, peaks_w: tuple[float, float, float] = (700.0, 1500.0, 2000.0)) -> ThreeSuns:
    hours = np.array([grid.local(step).hour + grid.local(step).minute / 60 for step in range(grid.n_steps)])
    bell = np.clip(np.sin(np.pi * (hours + grid.step_h / 2 - 6.0) / 14.0), 0.0, None)
    dull, likely, bright = (np.round(peak * bell, 3) for peak in peaks_w)
    return ThreeSuns(
        grid, dull, likely, bright, np.round(16.0 + 8.0 * bell, 3), "a forecast made up for the tests"
    )


def make_plan(
    yard: Yard,
    stays: list[Stay],
    start: dt.datetime,
    hours: float,
    step_minutes: int = 30,
    peaks_w: tuple[float, float, float] = (700.0, 1500.0, 2000.0),
    **changed,
) -> Plan:
    """Follow the stays through R3, R7, R9 and R12; `changed` replaces fields of the plan."""
    agenda = build_agenda(
        yard, Span(now=start, start=start, hours=hours, step_minutes=step_minutes, here=True)
    )
    grid, suns = agenda.grid, make_suns(agenda.grid, peaks_w)
    machines = tuple(
        _machine(machine, [stay for stay in stays if stay.machine == machine.name], agenda)
        for machine in yard.machines
    )
    duty = sunniest_duty(yard, agenda, suns.dull_w)
    bank = _bank(yard, suns, machines, duty)
    plan = Plan(
        site=yard.site.name,
        grid=grid,
        made_at=start - dt.timedelta(minutes=7),
        made_by="CBC, confirmed by HiGHS",
        suns=suns,
        bank=bank,
        machines=machines,
        house_loads=tuple(
            HouseLoadPlan(
                load.name,
                grid.energy_wh(
                    np.full(grid.n_steps, load.watts) if load.always_on else load.watts * duty[load.name]
                ),
            )
            for load in yard.house_loads
        ),
        inverter_peak_w=duty_watts(yard, duty, grid.n_steps),
        visits=tuple(_visit(edge, stays, bank) for edge in agenda.visits),
        aims=tuple(
            Aim(name, value, AimStatus.PROVEN, 0.0, 0.21)
            for name, value in (
                ("must needs met", 2.0),
                ("should needs met", 4.0),
                ("shortfall", 640.0),
                ("plug changes", 9.0),
            )
        ),
        replay=ReplayReport((), 7.4),
        compared_with=tuple(
            RuleOfThumb(name, dict(zip(PRIORITIES, met, strict=True)))
            for name, met in (
                ("all in turn", (1, 2, 0)),
                ("earliest deadline first", (1, 1, 1)),
                ("priority first", (1, 1, 0)),
            )
        ),
        notes=agenda.notes,
    )
    return replace(plan, **changed)


def _machine(machine: Machine, stays: list[Stay], agenda: Agenda) -> MachinePlan:
    n_steps, step_h = agenda.grid.n_steps, agenda.grid.step_h
    outlet: list[str | None] = [None] * n_steps
    plugged = np.zeros(n_steps, dtype=bool)
    for stay in stays:
        on, off = stay.timer or (stay.first, stay.last)
        outlet[stay.first : stay.last] = [stay.outlet] * (stay.last - stay.first)
        plugged[on:off] = True
    curve = ChargeCurve.of(machine)
    charge, wall = np.empty(n_steps + 1), np.zeros(n_steps)
    needs: list[NeedPlan] = []
    arriving = machine.charge_wh
    for edge in range(n_steps + 1):
        for need in agenda.needs[machine.name]:
            if need.edge == edge:
                ready = bool(arriving >= need.need_wh - READY_TOLERANCE_WH)
                why = {} if ready else {"because": BECAUSE, "would_help": WOULD_HELP}
                needs.append(NeedPlan(edge, need.need_wh, float(arriving), ready, need.priority, **why))
                arriving = max(arriving - need.work_wh, 0.0)
        charge[edge] = arriving
        if edge < n_steps and plugged[edge]:
            arriving = float(curve.charge_after_wh(arriving, step_h))
            wall[edge] = (arriving - charge[edge]) / machine.charger_efficiency
    return MachinePlan(machine.name, tuple(outlet), plugged, wall, charge, tuple(needs))


def _bank(yard: Yard, suns: ThreeSuns, machines: tuple[MachinePlan, ...], duty) -> BankPlan:
    grid = suns.grid
    walls = {kind: np.zeros(grid.n_steps) for kind in ("ac", "dc")}
    for machine, planned in zip(yard.machines, machines, strict=True):
        walls[machine.supply] += planned.wall_wh
    house_w = duty_watts(yard, duty, grid.n_steps)

    def level(sun_w, ac_w, dc_w):
        demand_w = dc_demand_w(yard.inverter, ac_w, dc_w, ac_w > 0)
        return bank_path(yard.bank, yard.bank.level_wh, sun_w - demand_w, grid).level_wh

    ac_w, dc_w = house_w + grid.power_w(walls["ac"]), grid.power_w(walls["dc"])
    allowed = np.minimum(yard.bank.reserve_wh, level(suns.dull_w, house_w, np.zeros(grid.n_steps)))
    levels = {name: level(sun_w, ac_w, dc_w) for name, sun_w in suns.by_name.items()}
    return BankPlan(yard.bank.capacity_wh, yard.bank.reserve_wh, levels, allowed)


def _visit(edge: int, stays: list[Stay], bank: BankPlan) -> VisitPlan:
    return VisitPlan(
        edge,
        plug=tuple(PlugAction(stay.machine, stay.outlet, stay.timer) for stay in stays if stay.first == edge),
        unplug=tuple(PlugAction(stay.machine, stay.outlet) for stay in stays if stay.last == edge),
        bank_pct={
            name: 100.0 * float(level[edge]) / bank.capacity_wh for name, level in bank.level_wh.items()
        },
    )


TUESDAY_18 = moment_on_clock(dt.date(2027, 6, 8), 18 * 60, yard_with([]).site.zone)


def machine(name: str, battery_wh: float, charger_w: float, charge_pct: float, *needs: dict, **keys) -> dict:
    return {
        "name": name,
        "battery_wh": battery_wh,
        "charger_w": charger_w,
        "charge_pct": charge_pct,
        "needs": needs,
        **keys,
    }


def field_yard(**tables) -> Yard:
    """Eight machines from a sprayer to a two-wheel tractor; `tables` replace tables of the yard."""
    return yard_with(
        [
            machine("sprayer", 216.0, 60.0, 35.0, {"ready_by": "07:00", "away_h": 3.0, "energy_wh": 150.0}),
            machine(
                "hedge cutter", 310.0, 90.0, 20.0, {"ready_by": "13:00", "charge_pct": 80.0}, priority="could"
            ),
            machine(
                "seed drill",
                480.0,
                120.0,
                55.0,
                {"ready_by": "08:00", "weekdays": ["thu"], "away_h": 2.0, "hours": 2.0, "draw_w": 150.0},
            ),
            machine(
                "push mower",
                864.0,
                240.0,
                30.0,
                {"ready_by": "10:00", "weekdays": ["wed"], "away_h": 2.0, "energy_wh": 700.0},
            ),
            machine(
                "cargo bike",
                1050.0,
                180.0,
                40.0,
                {"ready_by": "07:30", "away_h": 1.0, "distance_km": 30.0, "wh_per_km": 13.0},
                supply="dc",
            ),
            machine(
                "yard cart",
                2400.0,
                420.0,
                50.0,
                {"ready_by": "08:00", "away_h": 4.0, "energy_wh": 900.0},
                priority="must",
            ),
            machine(
                "wheel hoe",
                3600.0,
                600.0,
                25.0,
                {"ready_by": "07:00", "weekdays": ["thu"], "energy_wh": 1200.0},
            ),
            machine(
                "two-wheel tractor",
                7000.0,
                1000.0,
                20.0,
                {"ready_by": "07:00", "weekdays": ["thu"], "energy_wh": 4200.0},
            ),
        ],
        **tables,
    )


FIELD_STAYS = [
    Stay("sprayer", "A", 0, 26),
    Stay("cargo bike", "D", 0, 27),
    Stay("push mower", "B", 0, 26),
    Stay("yard cart", "C", 0, 26, timer=(8, 18)),
    Stay("seed drill", "A", 26, 48),
    Stay("hedge cutter", "B", 26, 37),
    Stay("wheel hoe", "C", 37, 48, timer=(38, 41)),
]


def field_plan(**changed) -> Plan:
    """Forty hours from Tuesday 18:00: two machines fall short."""
    plan = make_plan(field_yard(), FIELD_STAYS, TUESDAY_18, 37.0)
    visits = list(plan.visits)
    visits[1] = replace(visits[1], if_below=(IfBelow(41, "hedge cutter"),))
    visits[2] = replace(
        visits[2],
        if_at_least=(IfAtLeast(71, "two-wheel tractor", "A"),),
        if_below=(IfBelow(38, "seed drill"),),
    )
    return replace(plan, visits=tuple(visits), **changed)


def dark_plan(**changed) -> Plan:
    """The same with hardly any sun: the house alone takes the bank below its reserve on Wednesday morning."""
    return make_plan(dark_yard(), [], TUESDAY_18, 37.0, peaks_w=(120.0, 700.0, 1500.0), **changed)


def dark_yard() -> Yard:
    bank = {"modules_wh": (5120.0, 5120.0), "reserve_pct": 25.0, "level_pct": 34.0}
    return field_yard(bank=bank)


def ready_yard() -> Yard:
    """Two machines with modest needs."""
    return yard_with(
        [
            machine("sprayer", 216.0, 60.0, 35.0, {"ready_by": "07:00", "energy_wh": 150.0}),
            machine(
                "yard cart", 2400.0, 420.0, 50.0, {"ready_by": "08:00", "energy_wh": 900.0}, priority="must"
            ),
        ]
    )


def ready_plan(**changed) -> Plan:
    return make_plan(ready_yard(), [Stay("sprayer", "A", 0, 26)], TUESDAY_18, 24.0, 30, **changed)


def autumn_plan(**changed) -> Plan:
    """The night of 7 November 2027, in which 01:00 to 02:00 comes twice."""
    start = moment_on_clock(dt.date(2027, 11, 6), 18 * 60, ready_yard().site.zone)
    return make_plan(
        ready_yard(), [Stay("yard cart", "C", 0, 28, timer=(15, 17))], start, 24.0, 30, **changed
    )


HOSTILE_NAMES = (
    "[m1]",
    "#{}",
    '"',
    "[bold red]mower[/]",
    "[/]",
    "Κηπουρική μηχανή Αθήνα",
    "日本の草刈機と日本の草刈機と日本",
    "cafe\u0301 cart",
    "turned \u200eround",
    "no\u200bwidth",
    *(f"wheelbarrow with a motor, number {number}" for number in range(1, 11)),
)


def crowded_yard() -> Yard:
    """Twenty machines whose names are no ordinary ones."""
    return yard_with(
        [
            machine(name, 800.0, 150.0, 30.0, {"ready_by": "09:00", "energy_wh": 600.0})
            for name in HOSTILE_NAMES
        ]
    )


def crowded_plan(**changed) -> Plan:
    stays = [Stay(name, outlet, 0, 26) for name, outlet in zip(HOSTILE_NAMES, "ABC", strict=False)]
    return make_plan(crowded_yard(), stays, TUESDAY_18, 24.0, 30, **changed)
