"""The check-up on the terminal: the sentence, the cautions, the figures, then the findings, gravest first.

Plain letters only, so that it reads the same in colour, without, and piped into a file.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Group, RenderableType
from rich.constrain import Constrain
from rich.table import Table
from rich.text import Text

from scheduler.sheet.checkpage import CheckContent, FigureGroup, FindingBox
from scheduler.sheet.glyphs import visible

#: Prose in longer lines than this is hard to read.
WIDEST = 100


def render_check(content: CheckContent, width: int) -> RenderableType:
    """Lay the check-up out for a console of `width` cells."""
    told: list[RenderableType] = [
        _text(content.headline, "bold"),
        Text(),
        _text(" ".join((f"{content.yard}.", *content.about))),
        Text(),
        *_section("before you touch anything", [_listed("-", caution) for caution in content.cautions]),
        *_figures(content.groups),
        *_section("findings", list(_boxes(content.boxes))),
        *_section("not checked", [_listed("-", text) for text in content.unchecked]),
        *_section("sources of the figures", list(_numbered(content.sources))),
    ]
    return Constrain(Group(*told[:-1]), min(width, WIDEST))


def _section(title: str, parts: Sequence[RenderableType]) -> list[RenderableType]:
    return [Text(title.upper(), style="bold"), *parts, Text()] if parts else []


def _text(text: str, style: str = "") -> Text:
    return Text(visible(text), style=style)


def _listed(mark: str, text: str) -> Table:
    """Text behind a mark, its later lines under its first."""
    line = Table.grid(padding=(0, 1, 0, 0))
    line.add_column(no_wrap=True)
    line.add_column(ratio=1)
    line.add_row(mark, _text(text))
    return line


def _numbered(texts: Sequence[str]) -> Iterator[Table]:
    widest = len(f"({len(texts)})")
    yield from (_listed(f"({number})".rjust(widest), text) for number, text in enumerate(texts, 1))


def _figures(groups: Sequence[FigureGroup]) -> list[RenderableType]:
    if not groups:
        return []
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim", expand=True)
    table.add_column(Text("FIGURES", style="not dim bold"), ratio=1, overflow="fold")
    for heading, justify in (("found", "right"), ("limit", "right"), ("", "left"), ("source", "right")):
        table.add_column(heading, justify=justify, no_wrap=True)  # type: ignore[arg-type]
    for group in groups:
        table.add_row(_text(group.heading))
        for row in group.rows:
            cells = (row.found, row.limit, row.unit, row.source)
            table.add_row(_listed(" ", row.name), *(_text(cell) for cell in cells))
    return [table, Text()]


def _boxes(boxes: Sequence[FindingBox]) -> Iterator[RenderableType]:
    for number, box in enumerate(boxes):
        if number:
            yield Text()
        yield _text(f"{box.grade}: ", "bold").append(visible(box.where))
        if box.caution:
            yield _text(f"Caution: {box.caution}")
        yield _text(box.title, "bold")
        lines = Table.grid(padding=(0, 2, 0, 0))
        lines.add_column(no_wrap=True)
        lines.add_column(ratio=1)
        for label, text in (
            ("found", box.found),
            ("source", box.source),
            ("means", box.meaning),
            ("mend", box.mend),
        ):
            lines.add_row(label, _text(text))
        yield lines
