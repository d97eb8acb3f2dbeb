"""The page inside the door, printed by typst from the template page.typ."""

from __future__ import annotations

import dataclasses
from typing import Any

from scheduler.sheet import glyphs, typeset
from scheduler.sheet.page import NOTHING_TO_DO, PageContent
from scheduler.sheet.typeset import Format, Paper


def render_page(content: PageContent, fmt: Format, paper: Paper = "a4") -> bytes:
    """Print the page.

    Parameters
    ----------
    content : PageContent
    fmt : {"pdf", "png", "svg"}
    paper : {"a4", "us-letter"}

    Returns
    -------
    bytes
        The same for the same content.
    """
    return typeset.typeset(page_source(), print_settings(content, paper), fmt)


def page_source() -> bytes:
    """Return the template."""
    return typeset.template_source("page.typ")


def print_settings(content: PageContent, paper: Paper) -> dict[str, Any]:
    """Return what typst needs beside the template."""
    data = {**dataclasses.asdict(content), "nothing": NOTHING_TO_DO}
    return typeset.print_settings(data, content.made_at, paper)


def page_warnings(content: PageContent) -> list[str]:
    """Tell which names hold letters that the page can only show as code points."""
    outlets = (line.outlet for box in content.boxes for line in box.lines)
    machines = (row.machine for row in content.strip.rows)
    return glyphs.letter_warnings([content.yard, content.made, *machines, *outlets, *content.notes])
