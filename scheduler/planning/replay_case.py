"""A plan beside what the replay makes of it: the one thing that every check looks at."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from scheduler.planning.record import MachinePlan, Plan, Violation
from scheduler.planning.replay_physics import BoolArray, Decisions, Physics, run_yard
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import FloatArray, Grid
from scheduler.yard.agenda import Agenda
from scheduler.yard.models import Machine, Yard

DULL = 0  #: the column of the dull sun in the replayed bank


@dataclass(frozen=True)
class Case:
    """A plan beside what the replay makes of it.

    Attributes
    ----------
    yard, agenda, suns, plan
        As given.
    decisions : Decisions
        What the plan decides.
    own : Physics
        The yard run with these decisions under the dull, the likely and the bright sun.
    house : Physics
        The same with the house alone: its loads as planned, and what is plugged in at the start until the
        first visit (R4).
    """

    yard: Yard
    agenda: Agenda
    suns: ThreeSuns
    plan: Plan
    decisions: Decisions
    own: Physics
    house: Physics

    @property
    def grid(self) -> Grid:
        """The plan's grid."""
        return self.agenda.grid

    @property
    def first_visit(self) -> int:
        """The first edge at which anything can be changed; n_steps where nobody comes."""
        return self.agenda.visits[0] if self.agenda.visits else self.grid.n_steps

    @property
    def allowed_wh(self) -> FloatArray:
        """The lowest level that R4 allows on each edge [Wh]."""
        return np.minimum(self.yard.bank.reserve_wh, self.house.bank.level_wh[:, DULL])

    def machine_plan(self, machine: Machine) -> MachinePlan:
        """Return what the plan says of a machine."""
        return next(planned for planned in self.plan.machines if planned.name == machine.name)

    def in_outlet(self, name: str) -> BoolArray:
        """Who is in an outlet, shape (n_steps, n_machines)."""
        inside = [[place == name for place in places] for places in self.decisions.outlet]
        return np.array(inside, dtype=bool).reshape(len(inside), self.grid.n_steps).T

    def is_given(self, column: int) -> BoolArray:
        """Return the steps in which a machine is where it was found and nobody could have changed it."""
        found = self.yard.machines[column].outlet
        still = [found is not None and place == found for place in self.decisions.outlet[column]]
        return np.array(still, dtype=bool) & (np.arange(self.grid.n_steps) < self.first_visit)

    def violation(self, rule: str, edge: int, amount: float, text: str, minutes: int = 0) -> Violation:
        """Return a broken rule with its local time in front and its number behind."""
        return Violation(rule, edge, amount, f"{self.clock(edge, minutes)}: {text} ({rule})")

    def clock(self, edge: int, minutes: int = 0) -> str:
        """Local time of an edge and some minutes, for the texts."""
        moment = self.grid.edge(edge) + dt.timedelta(minutes=minutes)
        return moment.astimezone(self.grid.zone).strftime("%a %d %b %H:%M")


def build_case(yard: Yard, agenda: Agenda, suns: ThreeSuns, plan: Plan) -> Case:
    """Run the yard with a plan's decisions, and the house alone, under the three suns."""
    decisions = read_decisions(yard, agenda, plan)
    sun_w = np.stack([suns.dull_w, suns.likely_w, suns.bright_w], axis=1)
    own = run_yard(yard, agenda, sun_w, suns.shed_temp_c, decisions)
    house = run_yard(yard, agenda, sun_w, suns.shed_temp_c, leave_to_house(yard, agenda, decisions))
    return Case(yard, agenda, suns, plan, decisions, own, house)


def read_decisions(yard: Yard, agenda: Agenda, plan: Plan) -> Decisions:
    """Take the decisions out of a plan, in the yard's order; always-on loads run whatever it says (R11)."""
    machines = {planned.name: planned for planned in plan.machines}
    loads = {planned.name: planned for planned in plan.house_loads}
    n_steps = agenda.grid.n_steps
    return Decisions(
        outlet=tuple(machines[machine.name].outlet for machine in yard.machines),
        plugged=_side_by_side([machines[machine.name].plugged for machine in yard.machines], n_steps),
        house_on=_side_by_side(
            [(loads[load.name].wall_wh > 0.0) | load.always_on for load in yard.house_loads], n_steps
        ),
    )


def leave_to_house(yard: Yard, agenda: Agenda, decisions: Decisions) -> Decisions:
    """Leave the house as decided, and what is plugged in at the start only until the first visit (R4)."""
    n_steps = agenda.grid.n_steps
    first_visit = agenda.visits[0] if agenda.visits else n_steps
    plugged = np.zeros((n_steps, len(yard.machines)), dtype=bool)
    for column, machine in enumerate(yard.machines):
        if machine.outlet is not None:
            # Once taken out it is out for good: bringing it back plugs nothing in (R10).
            taken_out = np.append(np.flatnonzero(agenda.away[machine.name]), n_steps)[0]
            plugged[: min(first_visit, int(taken_out)), column] = True
    outlet = tuple(
        tuple(machine.outlet if on else None for on in plugged[:, column])
        for column, machine in enumerate(yard.machines)
    )
    return replace(decisions, outlet=outlet, plugged=plugged)


def spells(mask: BoolArray) -> Iterator[tuple[int, int]]:
    """Return the spells of true entries as [first, last)."""
    position = 0
    for value, spell in groupby(mask.tolist()):
        length = len(list(spell))
        if value:
            yield position, position + length
        position += length


def _side_by_side(columns: list[BoolArray], n_steps: int) -> BoolArray:
    """Stack series side by side; shape (n_steps, 0) where there are none."""
    return np.array(columns, dtype=bool).reshape(len(columns), n_steps).T
