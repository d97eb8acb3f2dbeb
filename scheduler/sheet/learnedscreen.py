"""What readings say of a yard's figures, on one terminal screen: the evidence, then the changed lines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Group, RenderableType
from rich.constrain import Constrain
from rich.table import Table
from rich.text import Text

from scheduler.logbook.learned import Figure, Learned
from scheduler.logbook.proposal import Proposal
from scheduler.sheet import words
from scheduler.sheet.glyphs import visible

WIDEST = 100

#: Unseen letters of a sound fleet file that do nothing to a terminal: tab, the end of a line as of Windows, and the
#: mark that some editors put at a file's begin.
_KEPT = "\t\r\ufeff"

HALF_A_YEAR_WEEKS = 26

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
    told += [Text(visible(line)) for line in sureness_told(learned)]
    told += [Text(visible(f"Note: {words.sentence(note)}")) for note in notes]
    return Constrain(Group(*told), min(width, WIDEST))


def render_changes(proposal: Proposal) -> str:
    """Write the changed lines as text: a line of a file stays one line, so that it can be copied, or taken by patch."""
    lines = [""]
    if not proposal.diff and not proposal.by_hand:
        lines.append("Nothing to change: the file's figures lie within what the readings allow.")
    if proposal.diff:
        lines.append("CHANGED LINES, for you to take over; nothing was changed")
        lines += [_as_in_file(line) for line in proposal.diff.removesuffix("\n").split("\n")]
    if proposal.by_hand:
        lines.append("TO WRITE BY HAND, where no changed line of this file would do")
        lines += [visible(line) for line in proposal.by_hand]
    return "\n".join(lines)


def _as_in_file(line: str) -> str:
    """Keep what a sound line may hold and a terminal stands; anything else unseen is told, and patch refuses it."""
    return "".join(letter if letter in _KEPT else visible(letter) for letter in line)


def headline(learned: Learned) -> str:
    """Say how many figures are otherwise than the file has them."""
    otherwise = [figure_told(figure) for figure in learned.figures if figure.is_otherwise]
    base = f"From {words.counted(learned.readings, 'reading')} of {learned.days:.0f} days"
    if not otherwise:
        return f"{base}: every figure is as in the file, as far as can be told."
    return f"{base}: otherwise than in the file {'are' if len(otherwise) > 1 else 'is'} the {words.listed(otherwise)}."


def sureness_told(learned: Learned) -> Iterator[str]:
    """What is not sure yet, and what to read for it; how far the figures can be trusted at all."""
    if learned.is_starved:
        yield (
            "The bank was nearly empty at many of these readings, and AC may have been off in between: only the "
            "chargers' figures are proposed. Weeks with more sun say more."
        )
    if learned.unsure is None:
        return
    weeks = max(round(learned.unsure.more_days / 7.0), 1)
    lasts = "half a year and more" if weeks > HALF_A_YEAR_WEEKS else f"some {words.counted(weeks, 'week')} more"
    yield (
        f"Not sure to 5 % yet: the least known figure may be off by {100 * learned.unsure.deviation_fraction:.0f} %, "
        f"one standard deviation. As it goes, it takes {lasts}; sooner with more readings of"
    )
    yield from (f"- {kind}" for kind in learned.unsure.ask_for)


def figure_told(figure: Figure) -> str:
    """``charger of the mower``."""
    return f"{NAMES[figure.kind]} {figure.name}".rstrip()


def _table(learned: Learned) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    for head in ("figure", "in the file", "by the readings", "95 % interval", ""):
        table.add_column(head, justify="left" if head in ("figure", "") else "right", no_wrap=True)
    for one in learned.figures:
        row = (
            figure_told(one),
            f"{one.in_file:.0f} {one.unit}",
            f"{one.value:.0f} {one.unit}",
            f"{one.low:.0f} to {one.high:.0f}",
            "otherwise" if one.is_otherwise else "",
        )
        table.add_row(*(Text(visible(cell)) for cell in row))
    return table
