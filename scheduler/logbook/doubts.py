"""Readings that can hardly be true, and are asked back before they are written down."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from scheduler.logbook.cells import show_time
from scheduler.logbook.readings import Logbook, Reading
from scheduler.units import pct_from_fraction
from scheduler.yard.models import Machine, Yard

#: A clock at the door may go ahead of this machine's by so much.
CLOCKS_DIFFER = dt.timedelta(minutes=10)

#: An older reading is rather a slip in its date.
LONG_AGO = dt.timedelta(days=31)

#: What two displays may be wrong by together, rounding and drift (common practice, no source) [%].
DISPLAY_ERROR_PCT = 5.0

#: Panels on a cold bright day, under a cloud's edge, give more than their label (common practice, no source).
ABOVE_LABEL_FRACTION = 1.2


def doubts_about(reading: Reading, log: Logbook, yard: Yard, now: dt.datetime) -> Iterator[str]:
    """Say what speaks against a reading, each a clause.

    Parameters
    ----------
    reading : Reading
        Not written yet.
    log : Logbook
        What was read before.
    yard : Yard
    now : datetime
        The clock, in UTC.
    """
    if reading.time > now + CLOCKS_DIFFER:
        yield "that time has not come yet"
    elif reading.time < now - LONG_AGO:
        yield f"that is {(now - reading.time).days} days ago"
    if reading.value_pct is None:
        return
    shown_pct = float(reading.text)
    if not 0 <= shown_pct <= 100:
        yield f"{shown_pct:g} % is {'more than full' if shown_pct > 100 else 'less than empty'}"
    else:
        yield from _jumps(reading, log, yard)


def _jumps(reading: Reading, log: Logbook, yard: Yard) -> Iterator[str]:
    """Compare with the readings just before and just after."""
    others = log.of_bank if reading.what == "bank" else log.of_machine(reading.machine)
    before = [other for other in others if other.time <= reading.time][-1:]
    after = [other for other in others if other.time > reading.time][:1]
    for first, second in [(other, reading) for other in before] + [(reading, other) for other in after]:
        if first.value_pct is None or second.value_pct is None:
            continue
        hours = (second.time - first.time) / dt.timedelta(hours=1)
        change_pct = second.value_pct - first.value_pct
        down_pct, up_pct = _most_change_pct(reading, yard, hours)
        if not -down_pct <= change_pct <= up_pct:
            other = first if second is reading else second
            most = f"{up_pct:.0f} up" if change_pct > 0 else f"{down_pct:.0f} down"
            yield (
                f"it was {other.value_pct:g} % at {show_time(other.time, yard.site.zone)}, and in {_lasting(hours)} "
                f"it can go {most} at most"
            )


def _lasting(hours: float) -> str:
    minutes = round(hours * 60)
    return f"{minutes} min" if minutes < 90 else f"{hours:.1f} h"


def _most_change_pct(reading: Reading, yard: Yard, hours: float) -> tuple[float, float]:
    """Return the most that a level can fall and rise in so many hours, both positive [%]."""
    if reading.what == "bank":
        down_w, up_w = most_bank_w(yard)
        share = pct_from_fraction(hours / yard.bank.capacity_wh)
        return down_w * share + DISPLAY_ERROR_PCT, up_w * share + DISPLAY_ERROR_PCT
    machine = next(machine for machine in yard.machines if machine.name == reading.machine)
    # How fast work can empty a machine, the file does not say.
    return 100.0, _most_charge_pct(machine, hours) + DISPLAY_ERROR_PCT


def _most_charge_pct(machine: Machine, hours: float) -> float:
    return pct_from_fraction(machine.charger_w * machine.charger_efficiency * hours / machine.capacity_wh)


def most_bank_w(yard: Yard) -> tuple[float, float]:
    """Return what can leave the bank's store and what can enter it at the most [W] (R3).

    Out: all that the inverter gives for good and all DC ports; in: all panels on a cold bright day; each within the
    bank's own limit where the file gives one.
    """
    bank, inverter = yard.bank, yard.inverter
    dc_w = sum(machine.charger_w for machine in yard.machines if machine.supply == "dc")
    out_w = inverter.continuous_w / inverter.efficiency + inverter.idle_w + dc_w
    in_w = ABOVE_LABEL_FRACTION * sum(array.panels * array.panel_w for array in yard.arrays)
    out_w = out_w if bank.discharge_max_w is None else min(out_w, bank.discharge_max_w)
    in_w = in_w if bank.charge_max_w is None else min(in_w, bank.charge_max_w)
    return out_w / bank.discharge_efficiency, in_w * bank.charge_efficiency
