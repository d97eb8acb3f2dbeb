"""Expected against actual on one terminal screen: the verdict first, then interval by interval, then what to look at.

Plain letters only, so that it reads the same in colour, without, and piped into a file.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

from rich.console import Group, RenderableType
from rich.constrain import Constrain
from rich.table import Table
from rich.text import Text

from scheduler.logbook.advice import ADVICE
from scheduler.logbook.causes import Cause
from scheduler.logbook.expectation import Expectation
from scheduler.logbook.verdicts import Interval, Named
from scheduler.sheet import lowbank, words
from scheduler.sheet.glyphs import visible

#: Prose in longer lines than this is hard to read.
WIDEST = 100

#: What the columns of figures take, with some room for words beside them; narrower screens get lines.
NARROWEST_TABLE = 64


def render_comparison(
    expected: Expectation, intervals: Sequence[Interval], notes: Sequence[str], width: int
) -> RenderableType:
    """Lay a comparison out for a console of `width` cells."""
    width = min(width, WIDEST)
    told: list[RenderableType] = [
        *_below_reserve(expected, intervals[-1]),
        Text(visible(headline(expected, intervals)), style="bold"),
        Text(),
        Text(visible(f"{expected.yard.site.name}. Sun: {expected.suns.source.rstrip(' .')}.")),
        Text(),
        Text("THE BANK in percent, from reading to reading", style="bold"),
        Text("expected: what it should show under the dull / the likely / the bright sun"),
        *([_table(expected, intervals)] if width >= NARROWEST_TABLE else _lines(expected, intervals)),
        *_cautions(intervals[-1]),
        *_settling(intervals[-1]),
        *_advice(intervals[-1]),
    ]
    if notes:
        told += [Text(), *(Text(visible(f"Note: {words.sentence(note)}")) for note in notes)]
    return Constrain(Group(*told), width)


def _below_reserve(expected: Expectation, last: Interval) -> Iterator[RenderableType]:
    """Put what the page says for so little in the bank before all that is only to be known."""
    warning = lowbank.warning(last.after_pct, expected.yard.bank.reserve_pct)
    if warning:
        yield Text(visible(warning), style="bold")
        yield Text()


def headline(expected: Expectation, intervals: Sequence[Interval]) -> str:
    """Say what to believe after the last reading, and how many intervals were as expected."""
    last = intervals[-1]
    when = _when(expected, last.until)
    sound = sum(interval.is_sound for interval in intervals)
    of_all = f"{sound} of {words.counted(len(intervals), 'interval')} as they should be"
    return f"{when}, the bank shows {words.percent(last.after_pct)}: {last.verdict}. {of_all}."


def _when(expected: Expectation, moment: dt.datetime) -> str:
    local = moment.astimezone(expected.grid.zone)
    return f"{local:%a} {local.day} {local:%b %H:%M}"


def _table(expected: Expectation, intervals: Sequence[Interval]) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    for head, justify in (("until", "left"), ("was", "right"), ("expected", "right"), ("shows", "right")):
        table.add_column(head, justify=justify, no_wrap=True)  # type: ignore[arg-type]
    table.add_column("verdict")
    for one in intervals:
        cells = (_when(expected, one.until), f"{one.before_pct:.0f}", _band(one), f"{one.after_pct:.0f}")
        style = "" if one.is_sound else "bold"
        table.add_row(*(Text(cell) for cell in cells), Text(visible(one.verdict), style=style))
    return table


def _lines(expected: Expectation, intervals: Sequence[Interval]) -> Iterator[Text]:
    """The table's figures one below the other."""
    for one in intervals:
        yield Text(f"{_when(expected, one.until)}: {one.after_pct:.0f}, was {one.before_pct:.0f}")
        yield Text(f"  expected {_band(one)}")
        yield Text(visible(f"  {one.verdict}"), style="" if one.is_sound else "bold")


def _band(one: Interval) -> str:
    return " / ".join(f"{one.expected_pct[sun]:.0f}" for sun in ("dull", "likely", "bright"))


def _named(last: Interval) -> list[Named]:
    """Return what may be the matter after the last reading."""
    return [] if last.is_sound else [one for one in last.named if one.cause is not Cause.NONE]


def _cautions(last: Interval) -> Iterator[RenderableType]:
    """All of them stand before the first thing that anybody is asked to do."""
    cautions = dict.fromkeys(caution for one in _named(last) for caution in ADVICE[one.cause].cautions)
    if cautions:
        yield Text()
        yield Text("BEFORE YOU TOUCH ANYTHING", style="bold")
        yield from (Text(visible(caution)) for caution in cautions)


def _settling(last: Interval) -> Iterator[RenderableType]:
    if last.would_settle:
        yield Text()
        yield Text("WHAT WOULD SETTLE IT", style="bold")
        yield from (Text(visible(words.sentence(reading))) for reading in last.would_settle)


def _advice(last: Interval) -> Iterator[RenderableType]:
    """Say what to look at, for what is named after the last reading."""
    for one in _named(last):
        yield Text()
        yield Text("LOOK AT FIRST", style="bold").append(visible(f": {one.told}"), style="not bold")
        for number, look in enumerate(ADVICE[one.cause].look_at, start=1):
            yield Text(visible(f"{number}. {look}"))
