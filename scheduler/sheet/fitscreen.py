"""Whether a machine fits, on one terminal screen: the answer first, then who pays, what limits, what would help."""

from __future__ import annotations

import calendar
from collections.abc import Iterable, Sequence

from rich.console import Group, RenderableType
from rich.constrain import Constrain
from rich.table import Table
from rich.text import Text

from scheduler.sheet import words
from scheduler.sheet.fitwords import answer, kept, listed, months_named, newcomers_ready, payer_named
from scheduler.sheet.glyphs import visible
from scheduler.studies.designweek import DesignWeek
from scheduler.studies.fits import FitStudy
from scheduler.studies.fitting import DEFINITION, MonthFit

#: Prose in longer lines than this is hard to read.
WIDEST = 100

_HEADINGS = ("new ready", "must needs", "other needs", "fits")


def render_fit(study: FitStudy, source: str, width: int) -> RenderableType:
    """Lay the study out for a console of `width` cells."""
    about = (
        f"The year without and with it on the same weather and forecasts ({source}), planned every evening "
        f"and lived; {study.lived_days} days in all."
    )
    parts: list[RenderableType] = [
        _bold(answer(study.fit)),
        Text(DEFINITION),
        Text(),
        Text(visible(about)),
        Text(),
    ]
    parts += [
        _title("month by month", "new machine ready; the yard's own needs met, without to with it"),
        _months(study),
    ]
    parts += _payers(study)
    if study.alone is not None:
        parts += (
            [*_limits(study, study.alone), *_remedies(study)]
            if study.limits
            else _nothing_to_see(study.alone)
        )
    return Constrain(Group(*parts), min(width, WIDEST))


def render_design_weeks(weeks: Sequence[DesignWeek], width: int) -> RenderableType:
    """Lay out the quick answer."""
    month = calendar.month_name[weeks[0].month]
    table = _table("", "sun a day", *_HEADINGS)
    for week in weeks:
        (only,) = week.fit.months
        table.add_row(week.sun, words.energy(week.sun_wh), *_cells(only, fits=week.fit.fits))
    about = (
        f"{month} has the least sun. A week of its dull, its likely and its bright days (9, 5 and 1 days in 10 are "
        "sunnier), each lived without and with it. The whole year, without --quick, is the answer that counts."
    )
    parts = (_bold(quick_answer(weeks)), Text(about), Text(), table, Text(), Text(DEFINITION))
    return Constrain(Group(*parts), min(width, WIDEST))


def quick_answer(weeks: Sequence[DesignWeek]) -> str:
    """Say it in one sentence: ``In December the loader fits under the likely and the bright sun``."""
    month, names = calendar.month_name[weeks[0].month], weeks[0].fit.newcomers
    suns = [f"the {week.sun}" for week in weeks if week.fit.fits]
    if not suns:
        return f"In {month} the {listed(names)} {'do' if len(names) > 1 else 'does'} not fit under any sun."
    return f"In {month} the {listed(names)} {'fit' if len(names) > 1 else 'fits'} under {listed(suns)} sun."


def _bold(text: str) -> Text:
    return Text(visible(text), style="bold")


def _title(text: str, aside: str = "") -> Text:
    return Text(text.upper(), style="bold").append(f"  {aside}" if aside else "", style="not bold dim")


def _table(*headings: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), show_edge=False, header_style="dim")
    for number, heading in enumerate(headings):
        table.add_column(heading, justify="left" if number in (0, len(headings) - 1) else "right")
    return table


def _cells(month: MonthFit, *, fits: bool) -> Iterable[str]:
    return (
        newcomers_ready(month),
        kept(month.must_without, month.must_with),
        kept(month.others_without, month.others_with),
        "yes" if fits else "no",
    )


def _months(study: FitStudy) -> Table:
    table = _table("", *_HEADINGS)
    for month in study.fit.months:
        fits = month.month in study.fit.months_that_fit
        table.add_row(calendar.month_name[month.month], *_cells(month, fits=fits))
    return table


def _payers(study: FitStudy) -> list[RenderableType]:
    if not study.fit.payers:
        return [Text(), Text("No machine of the yard is ready less often.")]
    table = Table.grid(padding=(0, 2, 0, 0))
    for payer in study.fit.payers:
        table.add_row(Text(visible(payer.machine)), Text(payer_named(payer)))
    return [Text(), _title("who pays", "ready days lost in the months in which any are"), table]


def _nothing_to_see(alone: MonthFit) -> list[RenderableType]:
    month = calendar.month_name[alone.month]
    said = f"Lived by itself {month} fits: what goes wrong comes from the days before it. No change was tried."
    return [Text(), Text(said)]


def _limits(study: FitStudy, alone: MonthFit) -> list[RenderableType]:
    month = calendar.month_name[alone.month]
    table = _table("", *_HEADINGS)
    table.add_row("as it is", *_cells(alone, fits=False))
    for limit in study.limits:
        table.add_row(f"{limit.name}: {limit.words}", *_cells(limit.month, fits=limit.fits))
    binding = [limit.name for limit in study.limits if limit.fits]
    said = (
        f"Eased by itself, {listed(binding)} would make {month} fit."
        if binding
        else f"No limit eased by itself makes {month} fit: more than one holds."
    )
    return [
        Text(),
        _title("what limits", f"{month} lived by itself, one limit eased at a time"),
        Text(said),
        table,
    ]


def _remedies(study: FitStudy) -> list[RenderableType]:
    parts: list[RenderableType] = [Text(), _title("what would make it fit", "each verified by its own year")]
    table = Table.grid(padding=(0, 2, 0, 0))
    for remedy in study.remedies:
        months = "fits all year" if remedy.fit.fits else f"fits {months_named(remedy.fit.months_that_fit)}"
        table.add_row(
            Text(visible(remedy.words)), Text(months if remedy.fit.months_that_fit else "fits no month")
        )
    if study.remedies:
        parts.append(table)
    if study.in_vain:
        parts.append(Text(f"Not by itself, as far as tried: {', '.join(study.in_vain)}."))
    return parts
