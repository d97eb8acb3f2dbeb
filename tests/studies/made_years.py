"""Years made by hand, for what counts them and shows them."""

from __future__ import annotations

import datetime as dt
from typing import Any

from scheduler.studies.year import YearSettings
from scheduler.studies.yearrecord import DayLived, NeedLived, YearLived
from scheduler.studies.yearstudy import YearStudy
from scheduler.studies.yearsums import YearSums

FIRST = dt.date(2027, 1, 25)
MACHINES = ("cart", "mower [bold]")


def need(machine: str, ready: bool, priority: Any = "must") -> NeedLived:
    return NeedLived(machine, priority, 500.0, 500.0 if ready else 380.0)


def day(number: int, *needs: NeedLived, **changed: Any) -> DayLived:
    """3 kWh of sun: 0.5 curtailed, 0.9 for the house, 0.8 for machines, 0.5 lost, 0.3 into the bank."""
    plain: dict[str, Any] = {
        "date": FIRST + dt.timedelta(days=number),
        "typical_day": 24 + number,
        "hours": 24.0,
        "sun_wh": 3000.0,
        "dull_wh": 2000.0,
        "likely_wh": 3200.0,
        "bright_wh": 4000.0,
        "curtailed_wh": 500.0,
        "house_wh": (900.0,),
        "machines_wh": (500.0, 300.0),
        "inverter_loss_wh": 400.0,
        "bank_in_loss_wh": 60.0,
        "bank_out_loss_wh": 40.0,
        "bank_out_wh": 1000.0,
        "work_wh": (400.0, 200.0),
        "unserved_wh": 0.0,
        "level_wh": 2000.0 + 300.0 * (number + 1),
        "lowest_wh": 1500.0,
        "charge_wh": (100.0, 200.0),
        "at_reserve_h": 0.0,
        "below_reserve_h": 0.0,
        "ac_off_h": 0.0,
        "outside_window_h": 0.0,
        "misplugged_h": 0.0,
        "lines_followed": 0,
        "lines_spared": 0,
        "unproven_plans": 0,
        "needs": needs,
    }
    return DayLived(**{**plain, **changed})


def year_of(*days: DayLived, hand: str = "the plan") -> YearLived:
    return YearLived(
        site="plot",
        source="typical year",
        hand=hand,
        machines=MACHINES,
        house_loads=("fridge",),
        machine_capacity_wh=(1000.0, 2000.0),
        bank_capacity_wh=5000.0,
        reserve_wh=1250.0,
        start_level_wh=2000.0,
        start_charge_wh=(100.0, 200.0),
        days=days,
        notes=("a thing was assumed",),
    )


def two_weeks(hand: str = "the plan") -> YearLived:
    """The cart fails twice in January's last days, the mower on the whole of the second week's first four days."""
    return year_of(
        *(
            day(
                number,
                need("cart", number not in (1, 2)),
                need("mower [bold]", number not in range(7, 11), "should"),
                outside_window_h=10.0 if number in range(7, 11) else 0.0,
            )
            for number in range(14)
        ),
        hand=hand,
    )


def study(**changed: Any) -> YearStudy:
    plain: dict[str, Any] = {
        "settings": YearSettings(first_day=FIRST, n_days=14),
        "timezone": "America/New_York",
        "step_minutes": 60,
        "year": two_weeks(),
        "resampled": tuple(YearSums.of(two_weeks(), number) for number in (1, 2)),
        "rules": (two_weeks("all in turn"),),
    }
    return YearStudy(**{**plain, **changed})
