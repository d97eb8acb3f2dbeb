"""The plan on one terminal screen, the widest thing first and in one sentence.

Plain letters only, so that it reads the same in colour, without, and piped into a file. Names are text:
nothing in them is taken for markup.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import chain, groupby

from rich.console import Group, RenderableType
from rich.constrain import Constrain
from rich.table import Table
from rich.text import Text

from scheduler.planning.budget import energy_budget
from scheduler.planning.record import Aim, AimStatus, MachinePlan, NeedPlan, Plan, ReplayReport
from scheduler.sheet import words
from scheduler.sheet.glyphs import visible
from scheduler.sheet.page import CARE, Line, visit_box
from scheduler.sheet.screenstrip import FULL, render_strip
from scheduler.units import kwh_from_wh, pct_from_fraction
from scheduler.yard.models import PRIORITIES, Priority, Yard

#: Prose in longer lines than this is hard to read.
WIDEST = 100

#: From this width on the two tables of figures stand side by side.
_SIDE_BY_SIDE = 76

CAUTIONS = f"{CARE} Makers' manuals and local codes come first."


def render_plan(plan: Plan, yard: Yard, width: int, changes: str = "") -> RenderableType:
    """Lay the plan out for a console of `width` cells; `changes` is what is told of the page on the door."""
    width = min(width, WIDEST)
    sections = (
        [Text(visible(words.headline(plan)), style="bold"), *_warnings(plan)],
        _about(plan),
        [_title("what changes"), Text(changes.rstrip())] if changes else [],
        _visits(plan, yard),
        [
            _title("who is plugged in, and the bank", f"in tens of percent, rounded down ({FULL} full)"),
            *render_strip(plan, yard, width),
            _lowest(plan),
        ],
        _not_ready(plan),
        _figures(plan, yard, width),
        _small_print(plan),
    )
    told = [section for section in sections if section]
    spaced = chain.from_iterable((*section, Text()) for section in told[:-1])
    return Constrain(Group(*spaced, *told[-1]), width)


def _title(text: str, aside: str = "") -> Text:
    return Text(text.upper(), style="bold").append(f" {aside}" if aside else "", style="not bold dim")


def _warnings(plan: Plan) -> list[Text]:
    """Say what the reader must know of a plan that is not proven to be the best."""
    if plan.aims and all(aim.status is AimStatus.PROVEN for aim in plan.aims):
        return []
    told = words.sentence(f"there may be a better plan: this is {plan.made_by}")
    return [Text(visible(told), style="yellow")]


def _about(plan: Plan) -> list[Text]:
    grid = plan.grid
    period = f"{words.date_and_time(grid, 0)} to {words.date_and_time(grid, grid.n_steps)}"
    source = plan.suns.source.rstrip(" .")
    return [Text(visible(f"{plan.site}, {period}, in steps of {grid.step_minutes} min. Sun: {source}."))]


def _visits(plan: Plan, yard: Yard) -> list[RenderableType]:
    """Say what is to be done at each visit, in the words and the order of the page."""
    if not plan.visits:
        return [_title("visits"), Text("Nobody comes by in this plan: no plug is changed.")]
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column(ratio=1)
    for index, visit in enumerate(plan.visits):
        when, bank = words.day_and_time(plan.grid, visit.edge), words.bank_expected(visit)
        for action in list(_actions(visit_box(plan, yard, index).lines)) or ["nothing to change"]:
            table.add_row(Text(when), Text(bank), Text(visible(action)))
            when = bank = ""
    return [_title("visits", "and what the bank should show then, dull to bright sun"), table]


def _actions(lines: Sequence[Line]) -> Iterator[str]:
    """Put the page's lines into words; plain ones of a kind that follow each other become one."""

    def kind(numbered: tuple[int, Line]) -> tuple[str, int | None]:
        number, line = numbered
        return line.verb, number if line.only_if is not None or line.note else None

    for _, alike in groupby(enumerate(lines), key=kind):
        first, *others = (line for _, line in alike)
        phrase, link = (words.plug_in, "at") if first.verb == "PLUG IN" else (words.unplug, "from")
        more = [f"{line.machine} {link} {line.outlet}" for line in others]
        told = words.listed([phrase(first.machine, first.outlet), *more])
        only_if = f"if {' '.join(first.only_if)}, " if first.only_if is not None else ""
        note = f"; {first.note[0].lower()}{first.note[1:].rstrip('.')}" if first.note else ""
        yield f"{only_if}{told}{note}"


def _lowest(plan: Plan) -> Text:
    """Name the lowest levels to come, for tens of percent are coarse."""
    bank = plan.bank
    told = []
    for sun in ("dull", "likely"):
        edge = int(bank.level_wh[sun].argmin())
        level = words.percent_of(float(bank.level_wh[sun][edge]), bank.capacity_wh, math.floor)
        told.append(f"{sun} {level} at {words.day_and_time(plan.grid, edge)}")
    reserve = words.percent_of(bank.reserve_wh, bank.capacity_wh, math.ceil)
    return Text(f"bank lowest: {', '.join(told)}; reserve {reserve}", style="dim")


def _not_ready(plan: Plan) -> list[Text]:
    """Tell each need that is not met, the worst first, and for those alike once why and what would help."""
    told = []
    for reason, alike in groupby(words.unready(plan), key=lambda pair: _reason(pair[1])):
        told += [_unmet(plan, machine, need) for machine, need in alike]
        told += [Text(visible(reason))] if reason else []
    return [_title("not ready"), *told] if told else []


def _unmet(plan: Plan, machine: MachinePlan, need: NeedPlan) -> Text:
    when, short = words.day_and_time(plan.grid, need.edge), words.energy(words.shortfall_wh(need), math.ceil)
    told = f" ({need.priority}), {when}: needs {words.energy(need.need_wh, math.ceil)}, {short} short"
    return Text(visible(machine.name), style="bold").append(told, style="not bold")


def _reason(need: NeedPlan) -> str:
    because = [] if need.because is None else [f"{need.because.rule}: {need.because.text.rstrip(' .')}."]
    helps = [words.sentence(words.would_help(*need.would_help))] if need.would_help else []
    return " ".join([*because, *helps])


def _figures(plan: Plan, yard: Yard, width: int) -> list[RenderableType]:
    """Show the energy, and how this plan compares and was proven: beside each other where there is room."""
    energy = _energy_table(plan, yard)
    worth: list[RenderableType] = [
        _rules_table(plan),
        *(Text(line) for line in _blackouts(plan)),
        Text(),
        *(Text(visible(line)) for line in _proof(plan)),
    ]
    if width < _SIDE_BY_SIDE:
        return [energy, Text(), *worth]
    both = Table.grid(padding=(0, 4, 0, 0))
    both.add_column(no_wrap=True)
    both.add_row(energy, Group(*worth))
    return [both]


def _energy_table(plan: Plan, yard: Yard) -> Table:
    """Show the budget under the likely and the dull sun, lines without energy left out."""
    budgets = [energy_budget(yard, plan, sun) for sun in ("likely", "dull")]
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True)
    for _ in budgets:
        table.add_column(justify="right", no_wrap=True)
    table.add_row(_title("energy", "kWh"), Text("likely"), Text("dull"))
    for label, name in _BUDGET_LINES:
        amounts = [getattr(budget, name) for budget in budgets]
        if any(abs(amount) >= _WORTH_A_LINE_WH for amount in amounts):
            table.add_row(Text(label), *(Text(_kwh(amount)) for amount in amounts))
    return table


def _kwh(energy_wh: float) -> str:
    """Two decimals; adding zero turns -0.00 into 0.00."""
    return f"{round(kwh_from_wh(energy_wh), 2) + 0.0:.2f}"


#: A line of the budget that would show 0.00 kWh is left out [Wh].
_WORTH_A_LINE_WH = 5.0

_BUDGET_LINES = (
    ("sun", "sun_wh"),
    ("+ not served", "unserved_wh"),
    ("- no room", "curtailed_wh"),
    ("- lost: bank", "bank_loss_wh"),
    ("- lost: inverter", "inverter_loss_wh"),
    ("- lost: chargers", "charger_loss_wh"),
    ("- house", "house_wh"),
    ("- into machines", "machines_wh"),
    ("= into the bank", "bank_change_wh"),
)


def _rules_table(plan: Plan) -> Table:
    """Needs met by class: this plan, and what the rules of thumb would get."""
    asked = _needs_by_class(plan, only_met=False)
    classes = [priority for priority in PRIORITIES if asked[priority]]
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column()
    for _ in classes:
        table.add_column(justify="right", no_wrap=True)
    table.add_row(_title("needs met", "dull sun"), *(Text(priority) for priority in classes))
    rows = [("this plan", _needs_by_class(plan, only_met=True))]
    rows += [(rule.name, rule.met) for rule in plan.compared_with]
    for number, (name, met) in enumerate(rows):
        figures = [Text(f"{met.get(priority, 0)}/{asked[priority]}") for priority in classes]
        table.add_row(Text(visible(name)), *figures, style="" if number else "bold")
    return table


def _blackouts(plan: Plan) -> Iterator[str]:
    """What the rules of thumb cost: AC stops, the house's too, where the bank would fall below its reserve."""
    off_h = [rule.ac_off_h for rule in plan.compared_with]
    if any(off_h):
        ours = (
            "this plan never" if plan.bank.level_wh["dull"].min() > 0 else "this plan where the bank is empty"
        )
        hours = words.listed([f"{hours:g}" for hours in off_h])
        yield f"The rules of thumb leave the yard without AC for {hours} h, to hold the reserve; {ours}."


def _needs_by_class(plan: Plan, *, only_met: bool) -> dict[Priority, int]:
    needs = [need for machine in plan.machines for need in machine.needs if need.ready or not only_met]
    return {priority: sum(need.priority == priority for need in needs) for priority in PRIORITIES}


def _small_print(plan: Plan) -> list[Text]:
    notes = [Text(visible(f"Note: {words.sentence(note)}")) for note in plan.notes]
    return [*notes, Text(CAUTIONS, style="dim")]


def _proof(plan: Plan) -> list[str]:
    return [*_aims(plan.aims), _replay(plan.replay)]


def _aims(aims: Sequence[Aim]) -> Iterator[str]:
    if not aims:
        return
    took = f"in {sum(aim.seconds for aim in aims):.1f} s"
    unproven = [f"{aim.name} ({_how_far(aim)})" for aim in aims if aim.status is not AimStatus.PROVEN]
    if unproven:
        proven = f"{len(aims) - len(unproven)} of {len(aims)}"
        yield f"{proven} aims proven best {took}; not proven: {words.listed(unproven)}."
    else:
        yield f"All {len(aims)} aims proven best {took}."


def _how_far(aim: Aim) -> str:
    ran_out = ["time ran out"] if aim.status is AimStatus.TIME_LIMIT else []
    within = [] if aim.gap is None else [f"within {pct_from_fraction(aim.gap):.2g} % of the best"]
    return ", ".join([*ran_out, *within]) or "no bound known"


def _replay(replay: ReplayReport | None) -> str:
    if replay is None:
        return "NOT replayed: do not follow this plan."
    if replay.violations:
        broken = words.counted(len(replay.violations), "violation")
        return f"The replay found {broken}: DO NOT follow this plan."
    differ = words.energy(max(replay.largest_difference_wh, 1.0), math.ceil)
    return f"Replayed minute by minute: no rule broken, the curves agree within {differ}."
