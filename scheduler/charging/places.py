"""R6: outlets that are alike are one place with several sockets, so that the choice need not tell them apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.yard.models import Kind, Machine, Outlet


@dataclass(frozen=True)
class Place:
    """Outlets of one kind, limit and timer; never more than one where the 3-hour rule may bind.

    The rule looks at what follows what in one outlet, so outlets in which some machine draws more than 80 %
    of the breaker's rating stay apart.
    """

    outlets: tuple[str, ...]
    kind: Kind
    limit_w: float
    continuous_w: float
    timer: bool
    sockets_eased: int = 0

    @property
    def sockets(self) -> int:
        """How many machines it takes at once; more than there are where it is asked what one more would do."""
        return len(self.outlets) + self.sockets_eased

    def takes(self, machine: Machine) -> bool:
        """Whether the machine may be plugged in here at all."""
        return machine.supply == self.kind and machine.charger_w <= self.limit_w


def group_outlets(outlets: Sequence[Outlet], machines: Sequence[Machine]) -> tuple[Place, ...]:
    """Group outlets into places, in the file's order."""
    groups: dict[tuple[object, ...], list[Outlet]] = {}
    for outlet in outlets:
        alike = (outlet.kind, outlet.limit_w, outlet.breaker_w, outlet.timer)
        may_bind = any(
            machine.supply == outlet.kind and outlet.continuous_w < machine.charger_w <= outlet.limit_w
            for machine in machines
        )
        groups.setdefault((*alike, outlet.name) if may_bind else alike, []).append(outlet)
    return tuple(
        Place(
            outlets=tuple(outlet.name for outlet in group),
            kind=group[0].kind,
            limit_w=group[0].limit_w,
            continuous_w=group[0].continuous_w,
            timer=group[0].timer,
        )
        for group in groups.values()
    )
