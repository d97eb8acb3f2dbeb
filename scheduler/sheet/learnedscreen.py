"""What readings say of a yard's figures, on one terminal screen: the evidence, then the changed lines."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.constrain import Constrain
from rich.table import Table
from rich.text import Text

from scheduler.logbook.learning import Figure, Learned
from scheduler.sheet import words
from scheduler.sheet.glyphs import visible

WIDEST = 100

#: How each kind of figure is called.
NAMES = {
    "array": "array at full sun",
    "base load": "base load of the house",
    "bank": "capacity of the bank",
    "charger": "charger of",
}


def render_learned(learned: Learned, notes: Sequence[str], width: int) -> RenderableType:
    """Lay what was learned out for a console of `width` cells."""
    told: list[RenderableType] = [Text(visible(headline(learned)), style="bold"), Text(), _table(learned), Text()]
    told += [Text(visible(f"Note: {words.sentence(note)}")) for note in notes]
    return Constrain(Group(*told), min(width, WIDEST))


def render_changes(diff: str) -> str:
    """Write the changed lines as text: a line of a file stays one line, so that it can be copied."""
    if not diff:
        return "\nNothing to change: the file's figures lie within what the readings allow."
    lines = (visible(line) for line in diff.split("\n"))
    return "\n".join(["", "CHANGED LINES, for you to take over; nothing was changed", *lines])


def headline(learned: Learned) -> str:
    """Say how many figures are otherwise than the file has them."""
    otherwise = [figure_told(figure) for figure in learned.figures if figure.is_otherwise]
    base = f"From {words.counted(learned.readings, 'reading')} of {learned.days:.0f} days"
    if not otherwise:
        return f"{base}: every figure is as in the file, as far as can be told."
    return f"{base}: otherwise than in the file {'are' if len(otherwise) > 1 else 'is'} the {words.listed(otherwise)}."


def figure_told(figure: Figure) -> str:
    """``charger of the mower``."""
    return f"{NAMES[figure.kind]} {figure.name}".rstrip()


def _table(learned: Learned) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    for head in ("figure", "in the file", "by the readings", "95 % interval", ""):
        table.add_column(head, justify="left" if head in ("figure", "") else "right", no_wrap=True)
    for one in learned.figures:
        unit = "Wh" if one.kind == "bank" else "W"
        row = (
            figure_told(one),
            f"{one.file_value_w:.0f} {unit}",
            f"{one.value_w:.0f} {unit}",
            f"{one.low_w:.0f} to {one.high_w:.0f}",
            "otherwise" if one.is_otherwise else "",
        )
        table.add_row(*(Text(visible(cell)) for cell in row))
    return table
