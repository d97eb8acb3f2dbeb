"""The page inside the door: what it says, in order.

The print (pageprint.py) and the text form (pagetext.py) are both made from this content and add no words of
their own but labels, so that they say the same in the same order.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from scheduler.planning.record import Aim, AimStatus, IfAtLeast, Plan, PlugAction, ReplayReport, VisitPlan
from scheduler.sheet import lowbank, words
from scheduler.sheet.strip import Strip, build_strip, machine_runs
from scheduler.yard.models import Yard

NOTHING_TO_DO = "Nothing to plug in or unplug. Write down what the bank shows."

#: What must be known before the first plug, in one sentence; the others stand at the end.
CARE = (
    "Charge on what cannot burn, away from exits, with a smoke alarm; never a frozen, wet, swollen or damaged battery."
)

#: Design section 12, in the words of the page.
CAUTIONS = (
    "Charge on a surface that cannot burn, away from the exits, with a smoke alarm in the room.",
    "Never charge a battery that is frozen, wet, swollen or damaged.",
    "Use only the charger made for the battery. Do not chain extension cords.",
    "DC wiring, roof work and ballast against wind are for people qualified to do them.",
    "Local codes and the makers' manuals come before this page.",
    "This page is a plan. It is not a protection device.",
)


@dataclass(frozen=True)
class Line:
    """One thing to do and to tick.

    `only_if` is empty for a sure line, else what must be so before it is done, in two parts: the lead and the
    figure, such as ("the bank shows", "71 % or more").
    """

    verb: str
    machine: str
    link: str
    outlet: str
    note: str = ""
    only_if: tuple[str, str] | None = None


@dataclass(frozen=True)
class Box:
    """One visit: when, what the bank should show, and what to do in order."""

    time: str
    day: str
    number: str
    expect: str
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Unready:
    """A machine that will not be ready: which, and why."""

    machine: str
    why: str


@dataclass(frozen=True)
class PageContent:
    """Everything on the page, in its order. `strip_words` tells what the strip draws."""

    yard: str
    period: str
    headline: str
    made: str
    until: str
    care: str
    rules: tuple[str, ...]
    boxes: tuple[Box, ...]
    unready: tuple[Unready, ...]
    strip: Strip
    strip_words: tuple[str, ...]
    notes: tuple[str, ...]
    proof: str
    cautions: tuple[str, ...]
    made_at: dt.datetime


#: From here on down the page warns of frost [C]: a shed's air is not a battery's core (common practice, no source).
FROST_NEAR_C = 3.0


def page_content(plan: Plan, yard: Yard) -> PageContent:
    """Say what the page says.

    Raises
    ------
    ValueError
        If the plan was not replayed, or the replay found a violation: no page is made of it.
    """
    if plan.replay is None or plan.replay.violations:
        msg = "a page is made only of a plan that was replayed without a violation"
        raise ValueError(msg)
    grid = plan.grid
    end = words.date_and_time(grid, grid.n_steps)
    return PageContent(
        yard=plan.site,
        period=f"{words.date_and_time(grid, 0)} to {end}",
        headline=words.headline(plan),
        made=f"Made {words.moment(plan.made_at, grid)} from {plan.suns.source.rstrip('.')}.",
        until=f"Good until {end}.",
        care=CARE,
        rules=tuple(_rules(plan)),
        boxes=tuple(visit_box(plan, yard, index) for index in range(len(plan.visits))),
        unready=tuple(_unready(plan)),
        strip=build_strip(plan),
        strip_words=tuple(_strip_words(plan)),
        notes=tuple(words.sentence(note) for note in plan.notes),
        proof=_proof(plan.replay, plan.aims),
        cautions=CAUTIONS,
        made_at=plan.made_at,
    )


def _reserve(plan: Plan) -> str:
    return words.percent_of(plan.bank.reserve_wh, plan.bank.capacity_wh, math.ceil)


def _rules(plan: Plan) -> Iterator[str]:
    yield (
        "At each visit: read the bank and write it down. Then do the lines of that box from top to bottom "
        "and tick each. ONLY IF: do it only if that is so. Already done? Tick it. Another machine is in the "
        "outlet? Unplug that one first."
    )
    yield "A visit was missed: unplug now what its box says to unplug. Leave out what it says to plug in."
    yield "A machine goes out: unplug it. It comes back: leave it unplugged until a box says to plug it in."
    yield when_low(plan)
    if _if_lines_follow_unplugging(plan):
        yield (
            "The bank showed LESS than a line asks, and a machine went without: from then on leave out the lines that "
            "ask for so much OR MORE, and tell whoever made this plan."
        )
    if plan.suns.shed_temp_c.min() < FROST_NEAR_C:
        yield (
            f"FROST: down to {plan.suns.shed_temp_c.min():.0f} C is expected in the shed. A battery that stood in "
            "it stays frozen for hours: plug in none, and set no timer for one, that is not warm all through."
        )
    timers = [action.timer for visit in plan.visits for action in visit.plug]
    timers += [line.timer for visit in plan.visits for line in visit.if_at_least]
    if any(timers):
        yield "A timer is meant for one time. One that repeats every day: switch it off once its time is over."
    yield _at_start(plan)


def _if_lines_follow_unplugging(plan: Plan) -> bool:
    """Whether a box that may have a machine out early has boxes behind it that may put one in."""
    unplugs = [visit.edge for visit in plan.visits if visit.if_below]
    adds = [visit.edge for visit in plan.visits if visit.if_at_least]
    return bool(unplugs and adds) and max(adds) > min(unplugs)


def when_low(plan: Plan) -> str:
    """Say what to do below the reserve; where the plan itself expects that, the boxes know of it."""
    if (plan.bank.allowed_wh < plan.bank.reserve_wh).any():
        return (
            f"The house alone takes the bank below {_reserve(plan)} on a dull day. The plan counts with that: "
            f"{lowbank.AS_BOXES_SAY}."
        )
    return f"The bank shows less than {_reserve(plan)} at any time: {lowbank.UNPLUG}."


def _at_start(plan: Plan) -> str:
    """Say what is in the outlets as the plan begins, before anybody touches them."""
    there = plan.plugged_at_start
    if not there:
        return "When the plan begins, nothing is plugged in."
    listed = "; ".join(f"{name} in {words.outlet_named(outlet)}" for name, outlet in there.items())
    return f"When the plan begins, this is plugged in: {listed}."


def visit_box(plan: Plan, yard: Yard, index: int) -> Box:
    """Say what is to be done at one visit, the lines that spare the bank first."""
    visit = plan.visits[index]
    lines = (
        *_lines_below(plan, visit),
        *(_lines_taking_back(plan, plan.visits[index - 1], visit) if index else ()),
        *(Line("UNPLUG", action.machine, "from", action.outlet) for action in visit.unplug),
        *_lines_plug(plan, yard, visit),
        *_lines_at_least(plan, yard, visit),
    )
    number = f"Visit {index + 1} of {len(plan.visits)}"
    return Box(
        time=words.time(plan.grid, visit.edge),
        day=words.day(plan.grid, visit.edge),
        number=f"{number}, {words.counted(len(lines), 'line')}" if lines else number,
        expect=words.bank_expected(visit),
        lines=lines,
    )


def _lines_below(plan: Plan, visit: VisitPlan) -> Iterator[Line]:
    """Lines for a bank that shows too little, the highest figure first, without machines still to plug in."""
    changed_here = {action.machine for action in (*visit.plug, *visit.unplug)}
    for line in sorted(visit.if_below, key=lambda line: -line.bank_pct):
        machine = next(machine for machine in plan.machines if machine.name == line.machine)
        outlet = machine.outlet[visit.edge]
        if line.machine not in changed_here and outlet is not None:
            only_if = ("the bank shows", f"less than {line.bank_pct} %")
            yield Line("UNPLUG", line.machine, "from", outlet, only_if=only_if)


def _lines_taking_back(plan: Plan, earlier: VisitPlan, visit: VisitPlan) -> Iterator[Line]:
    """Lines for what the if lines of the visit before put in: it stays until now, or longer if planned so."""
    stays = {(action.machine, action.outlet) for action in visit.plug}
    only_if = ("it was added", f"at {words.time_seen_from(plan.grid, earlier.edge, visit.edge)}")
    for line in earlier.if_at_least:
        if (line.machine, line.outlet) not in stays:
            yield Line("UNPLUG", line.machine, "from", line.outlet, only_if=only_if)


def _lines_plug(plan: Plan, yard: Yard, visit: VisitPlan) -> Iterator[Line]:
    """Sure lines, with the level below which they would be undone at once by "if it shows less, unplug it first"."""
    least_pct = {line.machine: line.bank_pct for line in visit.if_below}
    for action in visit.plug:
        notes = [_timer(plan, yard, visit, action)]
        if action.machine in least_pct:
            notes.append(f"Not if the bank shows less than {least_pct[action.machine]} %.")
        yield Line("PLUG IN", action.machine, "into", action.outlet, " ".join(filter(None, notes)))


def _lines_at_least(plan: Plan, yard: Yard, visit: VisitPlan) -> Iterator[Line]:
    for line in sorted(visit.if_at_least, key=lambda line: line.bank_pct):
        only_if = ("the bank shows", f"{line.bank_pct} % or more")
        yield Line("PLUG IN", line.machine, "into", line.outlet, _timer(plan, yard, visit, line), only_if)


def _timer(plan: Plan, yard: Yard, visit: VisitPlan, action: PlugAction | IfAtLeast) -> str:
    """Say how to set the timer, also one that is to stay on: it may still be set otherwise (R10)."""
    if not any(outlet.timer for outlet in yard.outlets if outlet.name == action.outlet):
        return ""
    return words.sentence(words.set_timer(plan.grid, visit.edge, action.timer))


def _unready(plan: Plan) -> Iterator[Unready]:
    for machine, need in words.unready(plan):
        because = [need.because.text] if need.because is not None else []
        told = [
            f"by {words.day_and_time(plan.grid, need.edge)} it holds {words.holds_of_needed(need)}",
            *because,
            *(words.would_help(text) for text in need.would_help),
        ]
        yield Unready(machine.name, " ".join(words.sentence(text) for text in told))


def _strip_words(plan: Plan) -> Iterator[str]:
    """Tell what the strip draws, for who hears the page rather than sees it."""
    grid = plan.grid
    for machine in plan.machines:
        runs = [
            f"{words.day_and_time(grid, run.first)} to {words.time_seen_from(grid, run.last, run.first)} "
            f"in {words.outlet_named(run.outlet)}"
            for run in machine_runs(machine, grid)
            if run.kind == "on"
        ]
        needs = [
            f"{'ready' if need.ready else 'NOT ready'} by {words.day_and_time(grid, need.edge)}"
            for need in machine.needs
        ]
        charges = f"charges {', '.join(runs)}" if runs else "is not charged"
        yield f"{machine.name} {'; '.join([charges, *needs])}."
    for sun in ("dull", "likely"):
        level_wh = plan.bank.level_wh[sun]
        lowest = int(level_wh.argmin())
        level = words.percent_of(float(level_wh[lowest]), plan.bank.capacity_wh, math.floor)
        yield f"Under the {sun} sun the bank is lowest at {words.day_and_time(grid, lowest)}: {level}."
    yield f"The reserve is {_reserve(plan)}."


def _proof(replay: ReplayReport, aims: Sequence[Aim]) -> str:
    """Say how the plan was checked and how far it is known to be the best."""
    differ = words.energy(max(replay.largest_difference_wh, 1.0), math.ceil)
    checked = (
        "Checked before printing: replayed minute by minute by arithmetic of its own, the plan breaks no "
        f"rule; the two sets of figures differ by no more than {differ}."
    )
    unproven = [aim.name for aim in aims if aim.status is not AimStatus.PROVEN]
    if unproven:
        return f"{checked} Not proven to be the best possible in: {words.listed(unproven)}."
    return f"{checked} No better plan exists for these figures: proven." if aims else checked
