"""Sizes of array and bank on one terminal screen: readiness as a table, the design rule step by step below."""

from __future__ import annotations

import calendar

from rich.console import Group, RenderableType
from rich.constrain import Constrain
from rich.table import Table
from rich.text import Text

from scheduler.sheet import words
from scheduler.sheet.glyphs import visible
from scheduler.studies.sizing import SizePoint, Sizing
from scheduler.studies.worstmonth import Step
from scheduler.units import kwh_from_wh, pct_from_fraction

#: Prose in longer lines than this is hard to read.
WIDEST = 100


def render_sizing(sizing: Sizing, source: str, width: int) -> RenderableType:
    """Lay the grid and the rule out for a console of `width` cells."""
    about = (
        f"Share of the must needs met on {_counted(sizing.days_a_month, 'day')} amid each month ({source}), "
        "planned every evening and lived; the same days and forecasts for every size. Today's yard stands in [ ]."
    )
    parts: tuple[RenderableType, ...] = (
        Text(visible(headline(sizing)), style="bold"),
        Text(visible(about)),
        Text(),
        _grid(sizing),
        Text(),
        Text(_by_month(sizing.today)),
        Text(),
        Text("THE WORST-MONTH RULE, STEP BY STEP", style="bold"),
        Text(rule_in_words(sizing)),
        Text(),
        _steps(sizing),
        *(Text(visible(f"({number}) {source}")) for number, source in enumerate(_sources(sizing), 1)),
    )
    return Constrain(Group(*parts), min(width, WIDEST))


def _counted(number: int, what: str) -> str:
    return f"{number} {what}{'s' if number > 1 else ''}"


def headline(sizing: Sizing) -> str:
    """Say how ready today's yard is, and what one size more of either would do."""
    today = sizing.today
    yard = f"With {_counted(today.panels, 'panel')} and {_counted(today.modules, 'bank module')}"
    said = f"{yard} the yard meets {_share(today)} of its must needs"
    better = [
        f"{_share(sizing.at(panels, modules))} with {_counted(panels, 'panel')} and {_counted(modules, 'module')}"
        for panels, modules in _next_sizes(sizing)
    ]
    return f"{said}{'; ' if better else ''}{', '.join(better)}."


def _next_sizes(sizing: Sizing) -> list[tuple[int, int]]:
    today = sizing.today
    more_panels = [size for size in sizing.panels if size > today.panels][:1]
    more_modules = [size for size in sizing.modules if size > today.modules][:1]
    return [(size, today.modules) for size in more_panels] + [(today.panels, size) for size in more_modules]


def _share(point: SizePoint) -> str:
    return words.percent(pct_from_fraction(point.must.fraction))


def _grid(sizing: Sizing) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("panels", justify="right")
    for modules in sizing.modules:
        bank_kwh = kwh_from_wh(sizing.at(sizing.today.panels, modules).bank_wh)
        table.add_column(f"{_counted(modules, 'module')}, {bank_kwh:.1f} kWh", justify="right")
    for panels in sizing.panels:
        row = [sizing.at(panels, modules) for modules in sizing.modules]
        kw = row[0].array_w / 1000.0
        table.add_row(f"{panels}, {kw:.1f} kW", *(_cell(point, sizing.today) for point in row))
    return table


def _cell(point: SizePoint, today: SizePoint) -> Text:
    return Text(f"[{_share(point)}]", style="bold") if point is today else Text(f"{_share(point)} ")


def _by_month(point: SizePoint) -> str:
    months = (
        f"{calendar.month_abbr[number]} {words.percent(pct_from_fraction(one.fraction))}"
        for number, one in enumerate(point.must_by_month, 1)
    )
    return f"Today's yard by month: {', '.join(months)}."


def rule_in_words(sizing: Sizing) -> str:
    """Set the rule's sizes beside the yard's own."""
    rule, today = sizing.rule, sizing.today
    array_kw, bank_kwh = (value / 1000.0 for value in (rule.array_asked_w[0], rule.bank_asked_wh[0]))
    return (
        f"{calendar.month_name[rule.month]} has the least sun. The rule finds an array-to-load ratio of "
        f"{rule.array_ratio:.2f} and {rule.autonomy_days:.1f} days of autonomy; for loads that may fail now and then "
        f"it asks for {array_kw:.1f} kW of panels ({today.array_w / 1000.0:.1f} stand there) and a bank of "
        f"{bank_kwh:.0f} kWh ({kwh_from_wh(today.bank_wh):.1f} stand there). It knows a daily mean and no hours, "
        "outlets or visits, and that nothing may wait; the table above has lived them."
    )


def _steps(sizing: Sizing) -> Table:
    """Every step of the rule, its source by a number of the list below it."""
    sources = _sources(sizing)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for heading, justify in (("step", "left"), ("", "right"), ("", "left"), ("how", "left"), ("", "right")):
        table.add_column(heading, justify=justify, no_wrap=heading == "step")  # type: ignore[arg-type]
    for step in sizing.rule.steps:
        number = f"({sources.index(step.source) + 1})"
        table.add_row(
            Text(visible(step.name)), _figure(step), step.unit, Text(visible(step.equation)), number
        )
    return table


def _sources(sizing: Sizing) -> list[str]:
    return list(dict.fromkeys(step.source for step in sizing.rule.steps))


def _figure(step: Step) -> str:
    return f"{step.value:,.0f}" if abs(step.value) >= 100 or not step.value else f"{step.value:.2f}"
