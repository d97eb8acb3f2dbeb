"""Plain words for people: the same times, energies, actions and first sentence on screen, page and calendar.

Figures are rounded to the safe side: a shortfall, a need and a reserve up, what a battery or the bank is
expected to hold down. Everything here is text without markup; names stand in it as they are written.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise

import numpy as np

from scheduler.planning.record import MachinePlan, NeedPlan, Plan, VisitPlan
from scheduler.timegrid import Grid
from scheduler.units import LEVEL_TOLERANCE_FRACTION, pct_from_fraction
from scheduler.yard.models import PRIORITIES

Rounding = Callable[[float], int]  #: math.ceil, math.floor or round

#: Plans longer than this name the date and not the weekday alone [days].
_WEEKDAY_IS_ENOUGH_DAYS = 6

#: Float noise that must not turn 1.1 kWh rounded up into 1.2 kWh, in units of the last digit shown.
_NOISE = 1e-6


def _time(local: dt.datetime) -> str:
    """``07:00``; a time that the clock shows twice in autumn is told apart."""
    # Subtracting datetimes of one zone ignores the offset, so the two readings are compared by theirs.
    first, second = local.replace(fold=0).utcoffset(), local.replace(fold=1).utcoffset()
    twice = first is not None and second is not None and first > second
    turn = (" (2nd)" if local.fold else " (1st)") if twice else ""
    return f"{local:%H:%M}{turn}"


def _day(local: dt.datetime) -> str:
    return f"{local:%a} {local.day} {local:%b}"


def time(grid: Grid, edge: int) -> str:
    """Clock time of an edge, ``07:00``, ``01:30 (2nd)`` for the second 01:30 of the night in autumn."""
    return _time(grid.local(edge))


def day(grid: Grid, edge: int) -> str:
    """Day of an edge, ``Wed 9 Jun``."""
    return _day(grid.local(edge))


def day_and_time(grid: Grid, edge: int) -> str:
    """``Wed 07:00``, with the date in a plan so long that weekdays come again."""
    local = grid.local(edge)
    short = grid.end - grid.start <= dt.timedelta(days=_WEEKDAY_IS_ENOUGH_DAYS)
    return f"{local:%a} {_time(local)}" if short else f"{_day(local)} {_time(local)}"


def date_and_time(grid: Grid, edge: int) -> str:
    """``Wed 9 Jun 07:00``."""
    return f"{day(grid, edge)} {time(grid, edge)}"


def time_seen_from(grid: Grid, edge: int, seen_from: int) -> str:
    """Time of an edge, with its weekday where that is not the day of the edge `seen_from`."""
    same_day = grid.local(edge).date() == grid.local(seen_from).date()
    return time(grid, edge) if same_day else day_and_time(grid, edge)


def moment(when: dt.datetime, grid: Grid) -> str:
    """``Wed 9 Jun 2027 07:03``, on the site's clock."""
    local = when.astimezone(grid.zone)
    return f"{_day(local)} {local.year} {_time(local)}"


def _rounded(value: float, rounding: Rounding) -> int:
    nearest = round(value)
    return nearest if abs(value - nearest) < _NOISE else rounding(value)


def energy(energy_wh: float, rounding: Rounding = round) -> str:
    """``8 Wh``, ``850 Wh`` (to 10), ``1.1 kWh``, ``120 kWh``."""
    size_wh = abs(energy_wh)
    tens = _rounded(energy_wh / 10, rounding) * 10
    if size_wh < 100 and abs(ones := _rounded(energy_wh, rounding)) < 100:
        return f"{ones} Wh"
    if size_wh < 1000 and abs(tens) < 1000:
        return f"{tens} Wh"
    tenths = _rounded(energy_wh / 100, rounding)
    return f"{tenths / 10:.1f} kWh" if abs(tenths) < 1000 else f"{_rounded(energy_wh / 1000, rounding)} kWh"


def percent(pct: float, rounding: Rounding = round) -> str:
    """``48 %``."""
    return f"{_rounded(pct, rounding)} %"


def percent_of(part_wh: float, whole_wh: float, rounding: Rounding = round) -> str:
    """Part of the whole, ``48 %``."""
    return percent(pct_from_fraction(part_wh / whole_wh), rounding)


def shortfall_wh(need: NeedPlan) -> float:
    """Return what is missing at ready-by [Wh], 0 for a need that is met."""
    return 0.0 if need.ready else max(need.need_wh - need.have_wh, 0.0)


def holds_of_needed(need: NeedPlan) -> str:
    """``2.1 kWh of 3.2 kWh``, never the same figure twice for a need that is not met."""
    return f"{energy(need.have_wh, math.floor)} of {energy(need.need_wh, math.ceil)}"


def bank_expected(visit: VisitPlan) -> str:
    """Say what the bank should show on arrival, dull to bright: ``48 to 71 %``."""
    low = _rounded(visit.bank_pct["dull"], math.floor)
    high = _rounded(visit.bank_pct["bright"], math.ceil)
    return f"{low} %" if low == high else f"{low} to {high} %"


def listed(items: Sequence[str], last: str = "and") -> str:
    """Join: ``a``, ``a and b``, ``a, b and c``."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} {last} {items[-1]}" if items else ""


def counted(number: int, noun: str) -> str:
    """``1 machine``, ``2 machines``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def outlet_named(outlet: str) -> str:
    """``outlet A``; an outlet that is called so already keeps its name."""
    return outlet if "outlet" in outlet.casefold() else f"outlet {outlet}"


def plug_in(machine: str, outlet: str) -> str:
    """``plug in sprayer at outlet A``."""
    return f"plug in {machine} at {outlet_named(outlet)}"


def unplug(machine: str, outlet: str) -> str:
    """``unplug sprayer from outlet A``."""
    return f"unplug {machine} from {outlet_named(outlet)}"


def set_timer(grid: Grid, seen_from: int, timer: tuple[int, int] | None) -> str:
    """``set its timer: on 22:00, off 02:00``, the weekday added where it is not that of the visit."""
    if timer is None:
        return "set its timer to stay on"
    on, off = timer
    return f"set its timer: on {time_seen_from(grid, on, seen_from)}, off {time_seen_from(grid, off, on)}"


def would_help(*texts: str) -> str:
    """Say ``a visit at 15:00 or 0.6 kWh more would help``, or ``nothing would help``.

    Why nothing would is left out: it stands in the reason, which is told before.
    """
    if texts[0].casefold().startswith("nothing"):
        return "nothing would help"
    return f"{listed(texts, 'or')} would help"


def sentence(text: str) -> str:
    """Return the text with a capital at its start and one full stop at its end; a question keeps its mark."""
    told = f"{text[:1].upper()}{text[1:].rstrip(' .')}"
    return told if not text or told.endswith("?") else f"{told}."


def headline(plan: Plan) -> str:
    """Say the widest thing first: who is ready, who is not, by how much, why and what would help.

    A house that alone takes the bank below its reserve comes before everything, a must that fails next. Of
    several machines that are not ready the worst two are named: by class, then by what they lack.
    """
    parts = [sentence(house_breaks_reserve(plan)), sentence("; ".join(_readiness(plan)))]
    return " ".join(part for part in parts if part)


def house_breaks_reserve(plan: Plan) -> str:
    """Tell when the house alone takes the bank below its reserve under the dull sun; empty if never (R4)."""
    bank = plan.bank
    slack_wh = LEVEL_TOLERANCE_FRACTION * bank.capacity_wh
    low = np.flatnonzero(bank.allowed_wh < bank.reserve_wh - slack_wh)
    if not len(low):
        return ""
    spans = list(_spans([int(edge) for edge in low]))
    spells = [_spell(plan.grid, first, last) for first, last in spans]
    told = listed(spells) if len(spells) <= 3 else f"{', '.join(spells[:2])} and {len(spells) - 2} more times"
    reserve = percent_of(bank.reserve_wh, bank.capacity_wh, math.ceil)
    least = percent_of(float(bank.allowed_wh.min()), bank.capacity_wh, math.floor)
    lead = (
        f"the bank begins below its reserve of {reserve} and the house alone leaves it there"
        if low[0] == 0
        else f"the house alone takes the bank below its reserve of {reserve}"
    )
    return f"{lead} under the dull sun, {told}, down to {least}"


def _spans(edges: Sequence[int]) -> Iterator[tuple[int, int]]:
    first = edges[0]
    for edge, following in pairwise(edges):
        if following != edge + 1:
            yield first, edge
            first = following
    yield first, edges[-1]


def _spell(grid: Grid, first: int, last: int) -> str:
    if first == last:
        return f"at {day_and_time(grid, first)}"
    if last == grid.n_steps:
        return f"from {day_and_time(grid, first)} to the end of the plan"
    return f"from {day_and_time(grid, first)} to {time_seen_from(grid, last, first)}"


def unready(plan: Plan) -> list[tuple[MachinePlan, NeedPlan]]:
    """Needs that are not met, the worst first: by class, then by what is missing, then as they stand."""
    failing = [(machine, need) for machine in plan.machines for need in machine.needs if not need.ready]
    return sorted(failing, key=lambda pair: (PRIORITIES.index(pair[1].priority), -shortfall_wh(pair[1])))


def _readiness(plan: Plan) -> Iterator[str]:
    wanted = [machine for machine in plan.machines if machine.needs]
    if not wanted:
        yield "no machine is needed in this plan"
        return
    failing = unready(plan)
    if not failing:
        yield _all_ready(plan, wanted)
        return
    count, lacks = _count_ready(wanted), list(_lacks(plan, failing))
    yield from (*lacks, count) if failing[0][1].priority == "must" else (count, *lacks)


def _all_ready(plan: Plan, wanted: Sequence[MachinePlan]) -> str:
    number = len(wanted)
    who = wanted[0].name if number == 1 else "both machines" if number == 2 else f"all {number} machines"
    least = percent_of(float(plan.bank.level_wh["dull"].min()), plan.bank.capacity_wh, math.floor)
    return f"{who} will be ready, and the bank keeps {least} at the least under the dull sun"


def _count_ready(wanted: Sequence[MachinePlan]) -> str:
    ready = sum(all(need.ready for need in machine.needs) for machine in wanted)
    count = f"{ready} of {counted(len(wanted), 'machine')} ready"
    needs = [need for machine in wanted for need in machine.needs]
    if len(needs) == len(wanted):
        return count
    met = sum(need.ready for need in needs)
    return f"{count} each time ({met} of {len(needs)} needs met)"


def _lacks(plan: Plan, failing: Sequence[tuple[MachinePlan, NeedPlan]]) -> Iterator[str]:
    """Name the worst two machines with what they lack, and for the worst the reason and what would help."""
    worst: dict[str, NeedPlan] = {}
    for machine, need in failing:
        worst.setdefault(machine.name, need)
    (name, need), *others = worst.items()
    but = "must be ready but " if need.priority == "must" else ""
    lacks = [f"{name} {but}will be {_short(plan, need)}"]
    if others:
        lacks.append(f"{others[0][0]} {_short(plan, others[0][1])}")
    if others[1:]:
        lacks.append(f"{len(others[1:])} more not ready")
    reason = _reason(need)
    if not others:
        yield f"{lacks[0]}: {reason}" if reason else lacks[0]
        return
    yield listed(lacks)
    if reason:
        yield f"{name}: {reason}"


def _short(plan: Plan, need: NeedPlan) -> str:
    return f"short by {energy(shortfall_wh(need), math.ceil)} at {day_and_time(plan.grid, need.edge)}"


def _reason(need: NeedPlan) -> str:
    because = [need.because.text.rstrip(" .")] if need.because is not None else []
    return "; ".join([*because, *([would_help(need.would_help[0])] if need.would_help else [])])
