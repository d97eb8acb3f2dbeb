"""What the house takes from the bank's side whether or not anything is charged."""

from __future__ import annotations

from scheduler.yard.models import Yard

_HOURS_PER_DAY = 24.0


def lasting_idle_w(yard: Yard) -> float:
    """Idle draw of the inverter if it is on day and night; 0 if it is off between loads and none is always on [W]."""
    is_off_between = yard.inverter.off_when_unused and not yard.always_on_w
    return 0.0 if is_off_between else yard.inverter.idle_w


def always_drawn_w(yard: Yard) -> float:
    """Loads that never stop, through the inverter, and its idle draw [W]."""
    return yard.always_on_w / yard.inverter.efficiency + lasting_idle_w(yard)


def duty_drawn_w(yard: Yard) -> float:
    """Loads that run some hours a day, through the inverter, as a mean over the day [W].

    One whose hours follow from the weather counts with its whole window.
    """
    daily_wh = sum(load.watts * load.most_hours_per_day for load in yard.house_loads if not load.always_on)
    return daily_wh / _HOURS_PER_DAY / yard.inverter.efficiency
