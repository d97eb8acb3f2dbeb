"""A hand that knows nothing but the page: it reads the bank's display at a visit and does what the lines say.

In the page's order: what the display is too low for stays out, what an if line lent an outlet until this visit
goes, then the sure lines, then each if line that the display allows; none any more once something stayed out, for if
lines count on machines as full as planned.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from scheduler.planning.record import IfAtLeast, Plan, PlugAction, VisitPlan
from scheduler.studies.living import Tally, YardState
from scheduler.yard.models import Yard


@dataclass
class Hand:
    """Follows one plan; edges of the plan are `offset` further on in the year."""

    yard: Yard
    plan: Plan
    offset: int
    _lent: dict[str, str] = field(default_factory=dict)
    _something_stayed_out: bool = False

    def __post_init__(self) -> None:
        self._visits = {visit.edge + self.offset: visit for visit in self.plan.visits}
        self._numbers = {machine.name: number for number, machine in enumerate(self.yard.machines)}

    def come_by(self, state: YardState, tally: Tally, edge: int) -> None:
        """Do what the page says at a visit, if there is one on this edge."""
        visit = self._visits.get(edge)
        if visit is None:
            return
        shows_pct = state.shown_pct(self.yard)
        left_out = self._leave_out(state, visit, shows_pct)
        tally.lines_spared += len(left_out)
        self._something_stayed_out |= bool(left_out)
        self._take_back_lent(state, visit)
        for action in visit.unplug:
            if self._outlet(state, action.machine) == action.outlet:
                self._set(state, action.machine, None)
        for action in visit.plug:
            if action.machine not in left_out:
                self._plug(state, action)
        lines = () if self._something_stayed_out else visit.if_at_least
        for line in sorted(lines, key=lambda line: line.bank_pct):
            if shows_pct >= line.bank_pct and self._plug(state, line):
                self._lent[line.machine] = line.outlet
                tally.lines_followed += 1

    def _leave_out(self, state: YardState, visit: VisitPlan, shows_pct: int) -> set[str]:
        left_out = {line.machine for line in visit.if_below if shows_pct < line.bank_pct}
        for name in left_out:
            self._set(state, name, None)
        return left_out

    def _take_back_lent(self, state: YardState, visit: VisitPlan) -> None:
        planned = {(action.machine, action.outlet) for action in visit.plug}
        for name, outlet in self._lent.items():
            if self._outlet(state, name) == outlet and (name, outlet) not in planned:
                self._set(state, name, None)
        self._lent = {}

    def _plug(self, state: YardState, action: PlugAction | IfAtLeast) -> bool:
        """Plug in; a hand that finds another machine in the outlet leaves it there."""
        holder = next((name for name in self._numbers if self._outlet(state, name) == action.outlet), None)
        if holder not in (None, action.machine):
            return False
        timer = action.timer and (action.timer[0] + self.offset, action.timer[1] + self.offset)
        self._set(state, action.machine, action.outlet)
        state.timer[self._numbers[action.machine]] = timer
        return True

    def _outlet(self, state: YardState, name: str) -> str | None:
        return state.outlet[self._numbers[name]]

    def _set(self, state: YardState, name: str, outlet: str | None) -> None:
        number = self._numbers[name]
        state.outlet[number], state.timer[number] = outlet, None
