"""R10 as the hand lives it: the visits' actions followed to the letter, and what they do to the plugs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.record import PlugAction, VisitPlan
from scheduler.yard.agenda import Agenda
from scheduler.yard.models import Yard

BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Fault:
    """An action that a hand cannot carry out, at an edge."""

    edge: int
    text: str


@dataclass(frozen=True)
class Followed:
    """What comes of the actions.

    Attributes
    ----------
    outlet : tuple of tuple of str or None, a machine of the yard each, n_steps long
    plugged : ndarray of bool, shape (n_steps, n_machines)
    faults : tuple of Fault
        Actions that could not be carried out and were left out.
    """

    outlet: tuple[tuple[str | None, ...], ...]
    plugged: BoolArray
    faults: tuple[Fault, ...]


def follow_actions(yard: Yard, agenda: Agenda, visits: Iterable[VisitPlan]) -> Followed:
    """Follow the visits' actions from the plugs as they are at the start (R10).

    At an edge the hand first unplugs, then what goes out is taken out, which unplugs it too, then the hand
    plugs in. An outlet without a timer is on; one with a timer is on as well unless the action sets it.
    Plugging a machine in where it already is sets the timer anew.
    """
    n_steps = agenda.grid.n_steps
    todo = tuple(visits)
    hand = _Hand(yard, agenda)
    for visit in todo:
        if visit.edge not in agenda.visits:
            hand.faults.append(Fault(visit.edge, "nobody stands there: it is no visit"))
    places: list[tuple[str | None, ...]] = []
    plugged = np.zeros((n_steps, len(yard.machines)), dtype=bool)
    for edge in range(n_steps):
        now = [visit for visit in todo if visit.edge == edge and edge in agenda.visits]
        hand.unplug(edge, [action for visit in now for action in visit.unplug])
        hand.take_out(edge)
        hand.plug_in(edge, [action for visit in now for action in visit.plug])
        places.append(tuple(hand.outlet_of(machine.name) for machine in yard.machines))
        plugged[edge] = [hand.is_on(machine.name, edge) for machine in yard.machines]
    outlet = tuple(zip(*places, strict=True)) if yard.machines else ()
    return Followed(outlet, plugged, tuple(hand.faults))


@dataclass
class _Hand:
    """The plugs at one moment: who is in which outlet, and what its timer is set to."""

    yard: Yard
    agenda: Agenda
    plugs: dict[str, PlugAction] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    def __post_init__(self) -> None:
        for machine in self.yard.machines:
            if machine.outlet is not None:
                self.plugs[machine.name] = PlugAction(machine.name, machine.outlet)

    def outlet_of(self, machine: str) -> str | None:
        return self.plugs[machine].outlet if machine in self.plugs else None

    def is_on(self, machine: str, step: int) -> bool:
        if machine not in self.plugs:
            return False
        timer = self.plugs[machine].timer
        return timer is None or timer[0] <= step < timer[1]

    def unplug(self, edge: int, actions: Iterable[PlugAction]) -> None:
        for action in actions:
            if self.outlet_of(action.machine) == action.outlet:
                del self.plugs[action.machine]
            else:
                text = f"{action.machine} cannot be unplugged: it is not in {action.outlet}"
                self.faults.append(Fault(edge, text))

    def take_out(self, edge: int) -> None:
        for name, away in self.agenda.away.items():
            if away[edge]:
                self.plugs.pop(name, None)

    def plug_in(self, edge: int, actions: Iterable[PlugAction]) -> None:
        for action in actions:
            reason = self._why_not(edge, action)
            if reason is None:
                self.plugs[action.machine] = action
            else:
                text = f"{action.machine} cannot be plugged into {action.outlet}: {reason}"
                self.faults.append(Fault(edge, text))

    def _why_not(self, edge: int, action: PlugAction) -> str | None:
        outlet = next((outlet for outlet in self.yard.outlets if outlet.name == action.outlet), None)
        here = self.outlet_of(action.machine)
        others = [name for name, plug in self.plugs.items() if plug.outlet == action.outlet]
        if action.machine not in self.agenda.away:
            return "there is no such machine"
        if outlet is None:
            return "there is no such outlet"
        if self.agenda.away[action.machine][edge]:
            return "it is away"
        if here not in (None, action.outlet):
            return f"it is still in {here}"
        if others and others != [action.machine]:
            return f"{others[0]} is in it"
        if action.timer is not None and not outlet.timer:
            return "that outlet has no timer"
        if action.timer is not None and not edge <= action.timer[0] < action.timer[1]:
            return f"its timer would go on at edge {action.timer[0]} and off at edge {action.timer[1]}"
        return None
