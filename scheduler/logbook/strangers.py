"""What a yard cannot use of a logbook or a saved plan: lines that cannot be read, names that are not its own."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from scheduler.errors import told_plainly
from scheduler.logbook.readings import Logbook
from scheduler.yard.models import Yard

if TYPE_CHECKING:
    from scheduler.planning.record import Plan

#: So many of a kind are told; the others are counted.
MOST_TOLD = 3


def unreadable_lines(log: Logbook, named: str) -> Iterator[str]:
    """Tell the first lines that cannot be read, each after what names the file, and how many more there are."""
    yield from (f"{named} {problem}" for problem in log.problems[:MOST_TOLD])
    if len(log.problems) > MOST_TOLD:
        yield f"{named} {len(log.problems) - MOST_TOLD} more lines cannot be read"


def strangers_in_log(log: Logbook, yard: Yard) -> Iterator[str]:
    """Name what the logbook has read of machines that are none of this yard."""
    known = [machine.name for machine in yard.machines]
    named = dict.fromkeys(reading.machine for reading in log.standing if reading.machine)
    yield from _told(f"the logbook {log.path.name}", named, "machine", known, "its readings are left aside", known)


def strangers_in_plan(plan: Plan, file: str, yard: Yard, instead: str) -> Iterator[str]:
    """Name the machines of a saved plan that this yard does not have.

    Parameters
    ----------
    plan : Plan
    file : str
        Its name.
    yard : Yard
    instead : str
        What is done about such a machine, a clause.
    """
    known, planned = [machine.name for machine in yard.machines], [machine.name for machine in plan.machines]
    new = [name for name in known if name not in planned]
    yield from _told(f"the plan {file}", planned, "machine", known, instead, new)


def strange_outlets(plan: Plan, file: str, yard: Yard) -> Iterator[str]:
    """Name the outlets of a saved plan that this yard does not have."""
    known, used = [outlet.name for outlet in yard.outlets], outlets_of(plan)
    new = [name for name in known if name not in used]
    instead = "what it has plugged in there is taken to be out"
    yield from _told(f"the plan {file}", used, "outlet", known, instead, new)


def outlets_of(plan: Plan) -> list[str]:
    """Names of all outlets that a plan uses, in order."""
    used = {outlet for machine in plan.machines for outlet in machine.outlet if outlet is not None}
    return sorted(used | {line.outlet for visit in plan.visits for line in visit.if_at_least})


def is_of_another_yard(plan: Plan, yard: Yard) -> bool:
    """Whether no machine of a plan is the yard's, and more speaks against it than new names for all of them."""
    machines = {machine.name for machine in yard.machines}
    planned = {machine.name for machine in plan.machines}
    if not planned or not machines or planned & machines:
        return False
    has_other_outlets = not {outlet.name for outlet in yard.outlets}.issuperset(outlets_of(plan))
    return has_other_outlets or abs(plan.bank.capacity_wh - yard.bank.capacity_wh) >= 1.0


def _told(
    told: str, named: Iterable[str], kind: str, known: Sequence[str], instead: str, new: Sequence[str]
) -> Iterator[str]:
    """Tell names that are not known, each with the one among the new that it may have been given since."""
    unknown = [name for name in named if name not in known]
    for name in unknown[:MOST_TOLD]:
        near = difflib.get_close_matches(name, new, 1, 0.5)
        only = new if len(unknown) == len(new) == 1 else []
        hint = "".join(f'; did you mean "{other}"?' for other in (near or only))
        yield told_plainly(f'{told} names "{name}", which is no {kind} of this yard; {instead}{hint}')
    if len(unknown) > MOST_TOLD:
        yield f"{told} names {len(unknown) - MOST_TOLD} more that are no {kind}s of this yard"
