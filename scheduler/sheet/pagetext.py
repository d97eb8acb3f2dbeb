"""The page as text, for a screen reader, a text message or a printer without pictures.

One line a thing said, in the page's order; lines are not wrapped, whoever shows them does that.
"""

from __future__ import annotations

from collections.abc import Iterator

from scheduler.sheet import words
from scheduler.sheet.glyphs import visible
from scheduler.sheet.page import NOTHING_TO_DO, Box, Line, PageContent


def render_text(content: PageContent) -> str:
    """Return the page as text; letters keep as they are written, unseen ones stand as their code points."""
    return "".join(f"{visible(line)}\n" for line in _lines(content))


def _lines(content: PageContent) -> Iterator[str]:
    yield from (content.yard, content.period, content.headline, f"{content.made} {content.until}", "")
    yield f"Take care. {content.care}"
    yield from (f"- {rule}" for rule in content.rules)
    for box in content.boxes:
        yield ""
        yield from box_lines(box)
    if content.unready:
        yield from ("", "Will not be ready")
        yield from (f"{machine.machine}: {machine.why}" for machine in content.unready)
    yield from ("", "Hour by hour", *content.strip_words)
    if content.notes:
        yield from ("", "Notes", *(f"- {note}" for note in content.notes))
    yield from ("", content.proof, "", "Take care.", *content.cautions)


def box_lines(box: Box) -> Iterator[str]:
    """Say one visit: when, what the bank should show, and what to do."""
    to_write = "Time ____ Bank ____ % Initials ____"
    yield f"{box.time} {box.day}. {box.number}. Bank should show {box.expect}. {to_write}"
    if not box.lines:
        yield NOTHING_TO_DO
    yield from (f"[ ] {line_words(line)}" for line in box.lines)


def line_words(line: Line) -> str:
    """``ONLY IF the bank shows 71 % or more: PLUG IN mower into outlet B.``."""
    lead = f"ONLY IF {' '.join(line.only_if)}: " if line.only_if is not None else ""
    note = f" {line.note}" if line.note else ""
    return f"{lead}{line.verb} {line.machine} {line.link} {words.outlet_named(line.outlet)}.{note}"
