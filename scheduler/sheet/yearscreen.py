"""A year on one terminal screen: what it comes to in one sentence, then who was ready when, and why not."""

from __future__ import annotations

import calendar
import math
from collections.abc import Iterator, Sequence

from rich.console import Group, RenderableType
from rich.constrain import Constrain
from rich.table import Table
from rich.text import Text

from scheduler.sheet import words
from scheduler.sheet.glyphs import visible
from scheduler.sheet.screen import WIDEST
from scheduler.studies.worstweek import Week, worst_week
from scheduler.studies.yearrecord import Readiness, YearLived
from scheduler.studies.yearstudy import YearStudy
from scheduler.studies.yearsums import INTERVAL_FRACTION
from scheduler.units import kwh_from_wh, pct_from_fraction
from scheduler.yard.models import PRIORITIES, Priority

#: Letters of a machine's name beside twelve months on 80 columns.
_NAME_LETTERS = 17


def render_year(study: YearStudy, width: int) -> RenderableType:
    """Lay a year out for a console of `width` cells."""
    width = min(width, WIDEST)
    parts: list[RenderableType] = [
        Text(visible(headline(study)), style="bold"),
        Text(),
        Text(visible(_about(study))),
    ]
    for section in (
        _readiness(study, width),
        _confidence(study),
        _worst(study.year),
        _yardsticks(study),
        _energy(study.year, width),
    ):
        if section:
            parts += [Text(), *section]
    parts += [Text(), *(Text(visible(line), style="dim") for line in _small_print(study))]
    return Constrain(Group(*parts), width)


def headline(study: YearStudy) -> str:
    """Say what the year comes to."""
    year = study.year
    if not year.days:
        return "No day was lived: nothing can be said yet."
    ready = [
        f"{priority} {_of(year.readiness(priority))}"
        for priority in PRIORITIES
        if year.readiness(priority).asked
    ]
    span = "Over the year" if len(year.days) >= 365 else f"Over {words.counted(len(year.days), 'day')}"
    whole = "" if study.is_whole else f" (stopped: {study.settings.n_days} were asked for)"
    return f"{span}{whole} machines were ready: {words.listed(ready)}.{_worst_months(year)}"


def _of(readiness: Readiness) -> str:
    return f"{readiness.ready} times of {readiness.asked} ({_pct(readiness)} %)"


def _pct(readiness: Readiness) -> int:
    return _floored(readiness.fraction)


def _floored(fraction: float) -> int:
    """Whole percent, rounded down, so that 100 means always."""
    return math.floor(pct_from_fraction(fraction) + 1e-9)


def _worst_months(year: YearLived) -> str:
    """Name the months in which readiness was clearly worse than in the best."""
    months = {month: year.readiness(month=month).fraction for month in year.months}
    if len(months) < 2 or max(months.values()) - min(months.values()) < 0.05:
        return ""
    worst = sorted(months, key=lambda month: months[month])[:3]
    told = [f"{calendar.month_name[month]} ({math.floor(100 * months[month])} %)" for month in worst]
    return f" Worst: {words.listed(told)}."


def _about(study: YearStudy) -> str:
    year, settings = study.year, study.settings
    last = year.days[-1].date if year.days else settings.first_day
    period = f"{_date(settings.first_day)} to {_date(last)} {last.year}"
    return f"{year.site}, {period}, in steps of {study.step_minutes} min, seed {settings.seed}. Sun: {year.source}."


def _date(date: object) -> str:
    return f"{date:%a} {date.day} {date:%b}"  # type: ignore[attr-defined]


def _title(text: str, aside: str = "") -> Text:
    return Text(text.upper(), style="bold").append(f" {aside}" if aside else "", style="not bold dim")


def _readiness(study: YearStudy, width: int) -> list[RenderableType]:
    """Each machine and each class: percent ready by month and over all, and how often it was asked.

    Where the console is too narrow for all the months, the later ones stand below the earlier ones.
    """
    year = study.year
    if not year.days:
        return []
    names = [name for name in year.machines if year.readiness(machine=name).asked]
    label_cells = min(max(map(len, names), default=0), _NAME_LETTERS)
    months_a_row = max((width - label_cells - _TOTALS_CELLS) // _MONTH_CELLS, 3)
    rows = [year.months[at : at + months_a_row] for at in range(0, len(year.months), months_a_row)]
    title = _title("ready", "in percent of the times asked, rounded down; kWh: what was missing altogether")
    return [title, *(_ready_table(year, names, months, is_last=months == rows[-1]) for months in rows)]


#: A month's figure with its blank, and the three totals.
_MONTH_CELLS, _TOTALS_CELLS = 4, 15


def _ready_table(year: YearLived, names: Sequence[str], months: Sequence[int], *, is_last: bool) -> Table:
    table = Table.grid(padding=(0, 1, 0, 0))
    table.add_column(no_wrap=True, max_width=_NAME_LETTERS, overflow="ellipsis")
    heads = [*(calendar.month_abbr[month] for month in months), *(("all", "asked", "kWh") if is_last else ())]
    for _ in heads:
        table.add_column(justify="right", no_wrap=True)
    table.add_row(Text(""), *(Text(head, style="dim") for head in heads))
    for name in names:
        table.add_row(Text(visible(name)), *_cells(year, months, is_last, machine=name))
    for priority in PRIORITIES:
        if year.readiness(priority).asked:
            label = Text(f"= {priority}", style="bold")
            table.add_row(label, *_cells(year, months, is_last, priority=priority))
    return table


def _cells(
    year: YearLived,
    months: Sequence[int],
    is_last: bool,
    priority: Priority | None = None,
    machine: str | None = None,
) -> Iterator[Text]:
    for month in months:
        counted = year.readiness(priority, machine, month)
        yield Text(str(_pct(counted)) if counted.asked else "-")
    if is_last:
        whole = year.readiness(priority, machine)
        yield Text(str(_pct(whole)), style="bold")
        yield Text(str(whole.asked))
        yield Text(f"{kwh_from_wh(whole.short_wh):.0f}")


def _confidence(study: YearStudy) -> list[RenderableType]:
    """Where readiness lies over the resampled years."""
    if not study.resampled:
        return []
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True, max_width=2 * _NAME_LETTERS, overflow="ellipsis")
    for _ in range(3):
        table.add_column(justify="right", no_wrap=True)
    inside = f"{INTERVAL_FRACTION * 10:.0f} in 10"
    table.add_row(Text(""), *(Text(head, style="dim") for head in ("this year", inside, "all")))
    rows: list[tuple[str, Priority | None, str | None]] = [(name, None, name) for name in study.year.machines]
    rows += [(f"= {priority}", priority, None) for priority in PRIORITIES]
    for label, priority, machine in rows:
        interval = study.interval(priority, machine)
        if interval is not None and study.year.readiness(priority, machine).asked:
            spans = (
                (interval.low_fraction, interval.high_fraction),
                (interval.least_fraction, interval.most_fraction),
            )
            told = [f"{_floored(low)} to {_floored(high)}" for low, high in spans]
            own = f"{_pct(study.year.readiness(priority, machine))}"
            table.add_row(Text(visible(label)), *(Text(cell) for cell in (own, *told)))
    years = words.counted(len(study.resampled), "resampled year")
    return [_title("how sure that is", f"percent ready over {years}"), table]


def _worst(year: YearLived) -> list[RenderableType]:
    week = worst_week(year)
    if week is None or week.readiness.ready == week.readiness.asked:
        return []
    return [_title("the worst week"), Text(visible(describe_week(week)))]


def describe_week(week: Week) -> str:
    """Say when it was and what was the matter."""
    unready = words.listed(
        [*week.unready[:4], *([f"{len(week.unready) - 4} more"] if len(week.unready) > 4 else [])]
    )
    told = [
        f"{_date(week.first)} to {_date(week.last)}: {_of(week.readiness)} ready; not ready: {unready}.",
        f"The sun could give {kwh_from_wh(week.sun_wh):.1f} kWh a day, "
        f"{100 * week.sun_wh / week.usual_sun_wh:.0f} % of what is usual over the year.",
    ]
    if week.outside_window_h:
        share = f"{week.outside_window_h:.0f} of {week.hours:.0f} hours"
        told.append(f"For {share} it was too cold or too hot to charge (R8).")
    if week.curtailed_wh > 0.2 * week.sun_wh:
        told.append(f"{kwh_from_wh(week.curtailed_wh):.1f} kWh a day found no room.")
    if week.at_reserve_h:
        told.append(f"The bank showed its reserve or less for {week.at_reserve_h:.0f} hours.")
    if week.ac_off_h:
        told.append(f"There was no AC for {week.ac_off_h:.0f} hours.")
    return " ".join(told)


def _yardsticks(study: YearStudy) -> list[RenderableType]:
    """The same year by rules of thumb, and what nobody could better."""
    if not study.rules:
        return []
    classes = [priority for priority in PRIORITIES if study.year.readiness(priority).asked]
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True)
    heads = [*classes, "no AC", "low", "frost"]
    for _ in heads:
        table.add_column(justify="right", no_wrap=True)
    table.add_row(Text(""), *(Text(head, style="dim") for head in heads))
    for number, year in enumerate((study.year, *study.rules)):
        figures = [
            f"{year.readiness(priority).ready}/{year.readiness(priority).asked}" for priority in classes
        ]
        hours = [
            f"{year.total(lambda day, name=name: getattr(day, name)):.0f} h"  # type: ignore[misc]
            for name in ("ac_off_h", "below_reserve_h", "misplugged_h")
        ]
        cells = (Text(cell) for cell in (*figures, *hours))
        table.add_row(Text(year.hand), *cells, style="" if number else "bold")
    told = (
        "Hours without AC, with the bank below its reserve, and of machines left plugged in while too cold or too "
        "hot to charge, which no plan does; their chargers are taken to wait then."
    )
    if study.foresight is not None:
        most = [
            f"{study.foresight.met_most[priority]}/{study.foresight.asked[priority]}" for priority in classes
        ]
        table.add_row(Text("nobody could better"), *(Text(cell) for cell in most), style="dim")
        told += f" {_score(study.score)}"
    return [
        _title("yardsticks", "the same year by rules of thumb, and with all its sun known"),
        table,
        Text(told, style="dim"),
    ]


def _score(score: dict[Priority, float]) -> str:
    """Tell the planner's score by class."""
    shares = [f"{_floored(share)} % of {name}" for name, share in score.items()]
    return (
        f"The plan meets {words.listed(shares)} needs that anybody could who keeps reserve and temperatures and "
        "knows all the year's sun."
    )


def _energy(year: YearLived, width: int) -> list[RenderableType]:
    """Where the energy went, and how hard the batteries worked."""
    if not year.days:
        return []
    sun_wh = year.total(lambda day: day.sun_wh)
    lines = [("sun", sun_wh), ("- no room", year.total(lambda day: day.curtailed_wh))]
    lines += [
        (f"- {load}", year.total(lambda day, at=at: day.house_wh[at]))  # type: ignore[misc]
        for at, load in enumerate(year.house_loads)
    ]
    lines += [
        ("- machines' chargers", year.total(lambda day: sum(day.machines_wh))),
        ("- lost: inverter", year.total(lambda day: day.inverter_loss_wh)),
        ("- lost: bank", year.total(lambda day: day.bank_in_loss_wh + day.bank_out_loss_wh)),
        ("= into the bank", year.bank_change_wh),
    ]
    energy = Table.grid(padding=(0, 2, 0, 0))
    energy.add_column(no_wrap=True, max_width=26, overflow="ellipsis")
    energy.add_column(justify="right", no_wrap=True)
    energy.add_column(justify="right", no_wrap=True)
    for label, amount_wh in lines:
        share = f"{100 * amount_wh / sun_wh:.0f} %" if sun_wh else ""
        energy.add_row(Text(visible(label)), Text(f"{kwh_from_wh(amount_wh):.1f}"), Text(share, style="dim"))
    if width < _SIDE_BY_SIDE_CELLS:
        return [_title("energy", "kWh"), energy, *_wear(year)]
    both = Table.grid(padding=(0, 4, 0, 0))
    both.add_column(no_wrap=True)
    both.add_row(energy, Group(*_wear(year)))
    return [_title("energy", "kWh"), both]


#: What energy and battery cycles take beside one another at the most.
_SIDE_BY_SIDE_CELLS = 75


def _wear(year: YearLived) -> Iterator[RenderableType]:
    cycles = Table.grid(padding=(0, 2, 0, 0))
    cycles.add_column(no_wrap=True, max_width=22, overflow="ellipsis")
    cycles.add_column(justify="right", no_wrap=True)
    for name, count in (
        ("bank", year.bank_full_cycles),
        *zip(year.machines, year.machine_full_cycles, strict=True),
    ):
        cycles.add_row(Text(visible(name)), Text(f"{count:.0f}"))
    yield Text("full battery cycles", style="dim")
    yield cycles


def _small_print(study: YearStudy) -> Iterator[str]:
    year = study.year
    hours = {
        "at its reserve or below": year.total(lambda day: day.at_reserve_h),
        "below it": year.total(lambda day: day.below_reserve_h),
    }
    bank = " and ".join(f"{hour:.0f} h {where}" for where, hour in hours.items())
    yield f"The bank was {bank}; there was no AC for {year.total(lambda day: day.ac_off_h):.0f} h."
    unproven = sum(day.unproven_plans for day in year.days)
    if unproven:
        plans = words.counted(unproven, "plan")
        yield f"{plans} stopped at a time limit and may not be the best; another computer may do otherwise there."
    yield (
        f"Each evening's plan looks {study.settings.ahead_h:g} h ahead, by a forecast drawn around the day that came; "
        "a hand then follows its page to the letter. A typical year leaves out the extremes."
    )
    yield from (f"Note: {words.sentence(note)}" for note in year.notes)
