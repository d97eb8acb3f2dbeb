"""Years made up need by need."""

from __future__ import annotations

import datetime as dt
from typing import Any

from scheduler.studies.yearrecord import DayLived, NeedLived, YearLived

Need = tuple[int, str, str, bool]  #: month, machine, class, whether it is met


def lived(*needs: Need) -> YearLived:
    """A year of one day in each month that has a need."""
    months = sorted({month for month, _, _, _ in needs})
    days = tuple(_day(month, [need for need in needs if need[0] == month]) for month in months)
    names = tuple(dict.fromkeys(name for _, name, _, _ in needs))
    return YearLived(
        site="yard",
        source="made up",
        hand="the plan",
        machines=names,
        house_loads=(),
        machine_capacity_wh=(1000.0,) * len(names),
        bank_capacity_wh=5000.0,
        reserve_wh=1000.0,
        start_level_wh=2000.0,
        start_charge_wh=(),
        days=days,
        notes=(),
    )


def _day(month: int, needs: list[Need]) -> DayLived:
    nothing: dict[str, Any] = {
        name: () if "tuple" in str(kind) else 0
        for name, kind in DayLived.__annotations__.items()
        if name not in {"date", "needs"}
    }
    came = tuple(NeedLived(name, kind, 100.0, 100.0 if met else 50.0) for _, name, kind, met in needs)  # type: ignore[arg-type]
    return DayLived(date=dt.date(2027, month, 1), needs=came, **nothing)
