"""The same year under the rules of thumb: the same sun, the same physics, and a hand that looks no further.

At each visit such a hand pulls what is full and fills the free outlets in some order, as far as inverter and breakers
stand it (`scheduler.planning.thumb`). It knows no reserve, so it lives from the whole bank. It leaves machines plugged
in through hours of frost; their chargers are taken to wait, and those hours are counted.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from scheduler.planning.house import DutyRun, sunniest_duty
from scheduler.planning.thumb import RULES, HandsDay, Order
from scheduler.studies.living import Tally, YardState
from scheduler.studies.year import PreparedYear, Tell, YearWalk, for_number
from scheduler.studies.yearrecord import YearLived
from scheduler.studies.yearsky import draw_sky


@dataclass(frozen=True)
class ThumbStint:
    """From one evening to the next by a rule of thumb."""

    day: HandsDay
    rule: Callable[[HandsDay, int], Order]
    is_proven: bool = True

    def come_by(self, state: YardState, tally: Tally, edge: int) -> None:
        """Pull what is full and fill the free outlets."""
        from scheduler.planning.thumb import change_plugs

        if edge in self.day.agenda.visits:
            self.day.charge_wh, self.day.outlet = state.charge_wh, state.outlet
            change_plugs(self.day, edge, self.rule(self.day, edge))

    def running(self, step: int) -> list[bool]:
        """Tell of each house load whether it is on."""
        loads = self.day.yard.house_loads
        return [load.always_on or bool(self.day.duty[load.name][step]) for load in loads]


@dataclass
class ThumbKeeper:
    """Follows one rule of thumb all year."""

    name: str
    day: HandsDay
    planning_s: float = 0.0

    def begin(self, state: YardState, edge: int) -> ThumbStint:
        """Go on as ever."""
        return ThumbStint(self.day, RULES[self.name])


def live_rules_of_thumb(
    prepared: PreparedYear, number: int = 0, tell: Tell | None = None
) -> tuple[YearLived, ...]:
    """Live one of the years of a prepared yard once under each rule of thumb."""
    prepared = for_number(prepared, number)
    yard, whole = prepared.yard, prepared.agenda.whole
    sky = draw_sky(prepared.suns, whole.grid, prepared.spread, prepared.settings.seed, number)
    suns = sky.forecast_suns(whole.grid, 0)
    duty: DutyRun = sunniest_duty(yard, whole, suns.dull_w)
    lived = []
    for done, name in enumerate(RULES):
        walk = YearWalk(prepared, sky, ThumbKeeper(name, HandsDay.begun(yard, whole, suns, duty)))
        while not walk.is_done:
            walk.go_on()
            if tell is not None:
                tell(f"{name}: {walk.told()}", (done + walk.done_fraction) / len(RULES))
        lived.append(walk.lived())
    return tuple(lived)
