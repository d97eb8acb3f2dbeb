"""What changes on the page on the door, as a text message."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

from scheduler.planning.record import IfAtLeast, NeedPlan, Plan, PlugAction, VisitPlan
from scheduler.sheet.changes import render_changes
from scheduler.sheet.lowbank import AS_BOXES_SAY
from scheduler.sheet.page import page_content
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import Grid
from tests.sheet.sample import TUESDAY_18, field_plan, field_yard, make_plan

LATER = 32  #: edges from the page's start to the new plan's, Wednesday 10:00


def rest_of(door: Plan) -> Plan:
    """The page's own plan from Wednesday 10:00 on."""
    grid = Grid(door.grid.edge(LATER), door.grid.step_minutes, door.grid.n_steps - LATER, door.grid.zone)
    suns = {
        name: getattr(door.suns, name)[LATER:] for name in ("dull_w", "likely_w", "bright_w", "shed_temp_c")
    }
    level_wh = {sun: level[LATER:] for sun, level in door.bank.level_wh.items()}
    return replace(
        door,
        grid=grid,
        suns=ThreeSuns(grid, source=door.suns.source, **suns),
        bank=replace(door.bank, level_wh=level_wh, allowed_wh=door.bank.allowed_wh[LATER:]),
        machines=tuple(
            replace(machine, outlet=machine.outlet[LATER:], charge_wh=machine.charge_wh[LATER:], needs=())
            for machine in door.machines
        ),
        visits=tuple(_later(visit) for visit in door.visits if visit.edge >= LATER),
    )


def _later(visit: VisitPlan) -> VisitPlan:
    def moved(line: Any) -> Any:
        return replace(line, timer=line.timer and (line.timer[0] - LATER, line.timer[1] - LATER))

    return replace(
        visit,
        edge=visit.edge - LATER,
        plug=tuple(moved(action) for action in visit.plug),
        if_at_least=tuple(moved(line) for line in visit.if_at_least),
    )


def with_visit(plan: Plan, edge: int, **changed: object) -> Plan:
    visits = tuple(replace(visit, **changed) if visit.edge == edge else visit for visit in plan.visits)  # type: ignore[arg-type]
    return replace(plan, visits=visits)


def told(door: Plan, plan: Plan) -> list[str]:
    return render_changes(door, plan, field_yard()).splitlines()


def test_nothing_that_stays_as_it_is_is_told() -> None:
    lines = told(field_plan(), rest_of(field_plan()))
    bank = field_plan().bank
    level = int(bank.level_wh["likely"][LATER] / bank.capacity_wh * 100)
    assert lines == [
        "Sweetgum Lane store: changes to the page made Tue 8 Jun 2027 17:53, from Wed 9 Jun 10:00 on, "
        f"bank then at {level} %.",
        "Nothing changes.",
        "The page stands until Thu 10 Jun 07:00, as far as this plan looks.",
    ]


def test_lines_that_are_gone_new_or_have_another_figure_are_told_by_visit() -> None:
    plan = rest_of(field_plan())
    plan = with_visit(
        plan,
        5,
        plug=(PlugAction("push mower", "C"),),
        if_at_least=(IfAtLeast(75, "two-wheel tractor", "A"),),
    )
    lines = told(field_plan(), plan)
    assert lines[1].startswith("Wed 12:30: bank should show ")
    assert lines[2:5] == [
        "- LEAVE OUT: PLUG IN wheel hoe into outlet C. Set its timer: on 13:00, off 14:30.",
        "- NEW: PLUG IN push mower into outlet C. Set its timer to stay on.",
        "- CHANGED: ONLY IF the bank shows 75 % or more: PLUG IN two-wheel tractor into outlet A. "
        "On the page: 71 % or more.",
    ]
    assert lines[5] == "Everything else on the page stands until Thu 10 Jun 07:00, as far as this plan looks."


def test_a_machine_that_goes_to_another_outlet_is_told_in_one_line() -> None:
    plan = with_visit(rest_of(field_plan()), 5, plug=(PlugAction("wheel hoe", "B"),))
    (line,) = (line for line in told(field_plan(), plan) if line.startswith("-"))
    assert line == "- MOVED: PLUG IN wheel hoe into outlet B. On the page: outlet C."


def test_another_time_on_a_timer_is_told_with_that_of_the_page() -> None:
    plan = with_visit(rest_of(field_plan()), 5, plug=(PlugAction("wheel hoe", "C", (8, 12)),))
    (line,) = (line for line in told(field_plan(), plan) if line.startswith("-"))
    assert line == (
        "- CHANGED: PLUG IN wheel hoe into outlet C. Set its timer: on 14:00, off 16:00. "
        "On the page: set its timer: on 13:00, off 14:30."
    )


def test_visits_that_come_and_go_are_told() -> None:
    plan = rest_of(field_plan())
    noon, evening = plan.visits
    extra = VisitPlan(10, (PlugAction("sprayer", "B"),), (), evening.bank_pct)
    lines = told(field_plan(), replace(plan, visits=(noon, extra)))
    assert any(
        line.startswith("Wed 15:00, a visit that the page does not have: bank should") for line in lines
    )
    assert "- NEW: PLUG IN sprayer into outlet B." in lines
    assert "Wed 18:00: no visit is planned any more; leave out what its box says." in lines
    plain, idle = replace(noon, if_at_least=()), replace(extra, plug=())
    assert "- nothing to change." in told(field_plan(), replace(plan, visits=(plain, idle, evening)))


def shorter(plan: Plan, steps: int) -> Plan:
    grid = replace(plan.grid, n_steps=steps)
    return replace(plan, grid=grid, visits=tuple(visit for visit in plan.visits if visit.edge < steps))


def test_a_page_that_ends_before_the_plan_says_that_it_needs_a_new_one() -> None:
    lines = told(shorter(field_plan(), 40), rest_of(field_plan()))
    assert lines[-1] == "The page stands until Wed 9 Jun 14:00, where it ends: it needs a new one by then."
    assert lines[1] == "Nothing changes."


def test_an_extra_of_the_last_visit_is_to_be_taken_out_first_and_its_line_stands() -> None:
    door = field_plan()
    plan = make_plan(field_yard(), [], TUESDAY_18 + dt.timedelta(hours=19), 18.0)
    plan = replace(plan, visits=tuple(visit for visit in plan.visits if visit.edge))
    lines = told(door, plan)
    heading = next(index for index, line in enumerate(lines) if line.startswith("Changes to the page made "))
    assert lines[heading + 1] == (
        "FIRST: if an ONLY IF line put in two-wheel tractor (outlet A) at the last visit, unplug it."
    )
    assert not any("LEAVE OUT: ONLY IF it was added" in line for line in lines)
    assert "- LEAVE OUT: UNPLUG seed drill from outlet A." in lines


def lacking(plan: Plan, **priorities: str) -> Plan:
    """The plan with needs on edge 9, Wednesday 14:30, of machines by name, 250 Wh short each."""

    def need(priority: Any) -> NeedPlan:
        return NeedPlan(9, 500.0, 250.0, False, priority, None, ())

    machines = tuple(
        replace(machine, needs=tuple(need(each) for each in priorities.get(machine.name.replace(" ", "_"), "").split()))
        for machine in plan.machines
    )
    return replace(plan, machines=machines)


def test_a_must_machine_that_will_not_be_ready_comes_before_everything_then_the_others() -> None:
    plan = lacking(rest_of(field_plan()), sprayer="must must", wheel_hoe="could", seed_drill="should")
    lines = told(field_plan(), plan)
    short = "250 Wh short at Wed 14:30"
    assert lines[0] == (
        f"Sweetgum Lane store: sprayer MUST be ready and will NOT be: {short} and {short}."
    )
    assert lines[1] == f"Will not be ready either: seed drill, {short}; wheel hoe, {short}."
    assert lines[2].startswith("Changes to the page made ")
    lines = told(field_plan(), lacking(rest_of(field_plan()), sprayer="should"))
    assert lines[0] == f"Sweetgum Lane store: will not be ready: sprayer, {short}."


def below_its_reserve(plan: Plan) -> Plan:
    allowed_wh = plan.bank.allowed_wh.copy()
    allowed_wh[4:8] = 0.19 * plan.bank.capacity_wh
    return replace(plan, bank=replace(plan.bank, allowed_wh=allowed_wh))


def test_a_bank_below_its_reserve_is_told_with_what_takes_the_place_of_the_pages_rule() -> None:
    door, plan = field_plan(), below_its_reserve(rest_of(field_plan()))
    assert any("unplug every machine" in rule for rule in page_content(door, field_yard()).rules)
    lines = told(door, plan)
    assert lines[:2] == [
        "Sweetgum Lane store: the house alone takes the bank below its reserve of 25 % under the dull sun, "
        "from Wed 12:00 to 13:30, down to 19 %.",
        f"In place of the page's rule for a bank below its reserve: the plan counts with that: {AS_BOXES_SAY}.",
    ]
    assert any(AS_BOXES_SAY in rule for rule in page_content(plan, field_yard()).rules)


def test_the_pages_rule_is_not_told_again_where_it_stands_and_told_where_it_comes_back() -> None:
    low_door = below_its_reserve(field_plan())
    lines = told(low_door, below_its_reserve(rest_of(field_plan())))
    assert "down to 19 %." in lines[0]
    assert lines[1].startswith("Changes to the page made ")
    lines = told(low_door, rest_of(field_plan()))
    assert lines[0] == (
        "Sweetgum Lane store: in place of the page's rule for a bank below its reserve: "
        "The bank shows less than 25 % at any time: unplug every machine and tell whoever made this plan."
    )
