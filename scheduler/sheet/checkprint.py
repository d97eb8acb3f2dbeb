"""The check-up on paper for the yard's folder, printed by typst from the template checkpage.typ."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

from scheduler.sheet import glyphs, typeset
from scheduler.sheet.checkpage import CheckContent
from scheduler.sheet.typeset import Format, Paper


def render_check_page(content: CheckContent, made_at: dt.datetime, fmt: Format, paper: Paper = "a4") -> bytes:
    """Print the page.

    Parameters
    ----------
    content : CheckContent
    made_at : datetime
        When it was checked, on the site's clock.
    fmt : {"pdf", "png", "svg"}
    paper : {"a4", "us-letter"}

    Returns
    -------
    bytes
        The same for the same content, moment and paper.
    """
    return typeset.typeset(check_page_source(), check_print_settings(content, made_at, paper), fmt)


def check_page_source() -> bytes:
    """Return the template."""
    return typeset.template_source("checkpage.typ")


def check_print_settings(content: CheckContent, made_at: dt.datetime, paper: Paper) -> dict[str, Any]:
    """Return what typst needs beside the template."""
    day = f"{made_at:%a} {made_at.day} {made_at:%b %Y}"
    return typeset.print_settings({**dataclasses.asdict(content), "day": day}, made_at, paper)


def check_page_warnings(content: CheckContent) -> list[str]:
    """Tell which names hold letters that the page can only show as code points."""
    headings = (group.heading for group in content.groups)
    places = (box.where for box in content.boxes)
    return glyphs.letter_warnings([content.yard, *content.about, *headings, *places])
