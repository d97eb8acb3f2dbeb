"""Who says what is plugged in when: the keeper who plans each evening."""

from __future__ import annotations

from dataclasses import dataclass
from time import perf_counter
from typing import Protocol

from scheduler.planning.record import AimStatus, Plan
from scheduler.studies.hand import Hand
from scheduler.studies.living import Tally, YardState
from scheduler.studies.yearagenda import YearAgenda, cut_agenda
from scheduler.studies.yearsky import YearSky
from scheduler.units import pct_from_fraction
from scheduler.yard.models import Yard


class Stint(Protocol):
    """The time from one evening to the next."""

    @property
    def is_proven(self) -> bool:
        """Whether it is lived by a plan of which every aim is proven, or by none."""
        ...

    def come_by(self, state: YardState, tally: Tally, edge: int) -> None:
        """Change plugs, if somebody stands there on this edge."""
        ...

    def running(self, step: int) -> list[bool]:
        """Tell of each house load whether it is on."""
        ...


class Keeper(Protocol):
    """Begins a stint in the evening."""

    name: str
    planning_s: float

    def begin(self, state: YardState, edge: int) -> Stint:
        """Look at the yard on an edge and decide."""
        ...


@dataclass
class PageStint(Hand):
    """A stint by the plan's page."""

    @property
    def is_proven(self) -> bool:
        """Whether every aim of the plan is proven."""
        return all(aim.status is AimStatus.PROVEN for aim in self.plan.aims)

    def running(self, step: int) -> list[bool]:
        """Tell of each house load whether it is on."""
        return [bool(load.wall_wh[step - self.offset] > 0.0) for load in self.plan.house_loads]


@dataclass
class PlanningKeeper:
    """Plans with the planner itself, on what the forecast says and what bank and machines show.

    Parameters
    ----------
    yard : Yard
    agenda : YearAgenda
    sky : YearSky
    ahead_h : float
        How far plans look at most [h].
    aim_limit_s : float
        Wall-clock limit of each aim [s].
    """

    yard: Yard
    agenda: YearAgenda
    sky: YearSky
    ahead_h: float
    aim_limit_s: float
    name: str = "the plan"
    planning_s: float = 0.0

    def begin(self, state: YardState, edge: int) -> PageStint:
        """Plan from an edge on."""
        begun = perf_counter()
        plan = self._plan(state, edge)
        self.planning_s += perf_counter() - begun
        return PageStint(self.yard, plan, edge)

    def _plan(self, state: YardState, edge: int) -> Plan:
        from scheduler.planning.planner import Settings, draw_up_plan

        end = self.agenda.end_of_plan(edge, self.ahead_h)
        agenda = cut_agenda(self.agenda.whole, edge, end, state.already_run)
        suns = self.sky.forecast_suns(agenda.grid, edge)
        settings = Settings(self.aim_limit_s, reasons_limit_s=0.0)
        return draw_up_plan(
            yard_as_found(self.yard, state), agenda, suns, settings, made_at=agenda.grid.start
        )


def yard_as_found(yard: Yard, state: YardState) -> Yard:
    """Return the yard with bank, charges and plugs as they are."""
    level_pct = pct_from_fraction(state.level_wh / yard.bank.capacity_wh)
    machines = tuple(
        machine.model_copy(
            update={"charge_pct": pct_from_fraction(charge_wh / machine.capacity_wh), "outlet": outlet}
        )
        for machine, charge_wh, outlet in zip(yard.machines, state.charge_wh, state.outlet, strict=True)
    )
    bank = yard.bank.model_copy(update={"level_pct": level_pct})
    return yard.model_copy(update={"bank": bank, "machines": machines})
