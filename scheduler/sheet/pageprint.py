"""The page inside the door, printed by typst from the one template page.typ."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import re
from importlib import resources
from io import BytesIO
from typing import Any, Literal

from scheduler.sheet import glyphs
from scheduler.sheet.page import NOTHING_TO_DO, PageContent

Paper = Literal["a4", "us-letter"]
Format = Literal["pdf", "png", "svg"]

#: Dots per inch of the PNG; 9 pt letters are then 19 dots high, fit for a printer and a photocopy.
PNG_PPI = 150.0

_CLOCK_PARTS = ("year", "month", "day", "hour", "minute", "second")


def render_page(content: PageContent, fmt: Format, paper: Paper = "a4") -> bytes:
    """Print the page with typst.

    A PDF holds all its pages; a PNG or SVG shows them one below the other in one picture, so that no old
    second page can stay behind next to a new first one.

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
    import typst

    printed = typst.compile(page_source(), format=fmt, ppi=PNG_PPI, **print_settings(content, paper))
    pages: list[bytes] = printed if isinstance(printed, list) else [printed]
    if len(pages) == 1:
        return pages[0]
    return _stack_png(pages) if fmt == "png" else _stack_svg(pages)


def page_source() -> bytes:
    """Return the template."""
    return resources.files("scheduler.sheet").joinpath("page.typ").read_bytes()


def print_settings(content: PageContent, paper: Paper) -> dict[str, Any]:
    """Return what typst needs beside the template: the fonts, and the content as data, never as source."""
    return {
        "font_paths": [str(glyphs.font_folder())],
        "ignore_system_fonts": True,
        "sys_inputs": {"data": json.dumps(_data(content, paper))},
    }


def page_warnings(content: PageContent) -> list[str]:
    """Tell which names hold letters that the page can only show as code points."""
    outlets = (line.outlet for box in content.boxes for line in box.lines)
    machines = (row.machine for row in content.strip.rows)
    return glyphs.letter_warnings([content.yard, content.made, *machines, *outlets, *content.notes])


def _data(content: PageContent, paper: Paper) -> dict[str, Any]:
    """Return what the template reads: the content with every letter printable, and how to set it."""
    made_at = content.made_at.astimezone(dt.UTC)
    shown: dict[str, Any] = _printable(dataclasses.asdict(content))
    return {
        **shown,
        "made_at": {part: getattr(made_at, part) for part in _CLOCK_PARTS},
        "paper": paper,
        "font": glyphs.FAMILY,
        "nothing": NOTHING_TO_DO,
    }


def _printable(value: Any) -> Any:
    if isinstance(value, str):
        return glyphs.printable(value)
    if isinstance(value, dict):
        return {key: _printable(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_printable(item) for item in value]
    return value


def _stack_png(pages: list[bytes]) -> bytes:
    from PIL import Image

    pictures = [Image.open(BytesIO(page)).convert("L") for page in pages]
    whole = Image.new("L", (pictures[0].width, sum(picture.height for picture in pictures)), 255)
    top = 0
    for picture in pictures:
        whole.paste(picture, (0, top))
        top += picture.height
    out = BytesIO()
    whole.save(out, "PNG", dpi=(PNG_PPI, PNG_PPI), compress_level=3)
    return out.getvalue()


def _stack_svg(pages: list[bytes]) -> bytes:
    """Put the pages below one another; typst names a glyph by what it draws, so equal ids draw the same."""
    width = max(_svg_size(page)[0] for page in pages)
    top = 0.0
    parts = []
    for page in pages:
        parts.append(page.replace(b"<svg ", f'<svg y="{top:g}" '.encode(), 1))
        top += _svg_size(page)[1]
    size = f'viewBox="0 0 {width:g} {top:g}" width="{width:g}pt" height="{top:g}pt"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size}>'.encode()
    return b"\n".join([head, *parts, b"</svg>\n"])


def _svg_size(page: bytes) -> tuple[float, float]:
    found = re.search(rb'viewBox="0 0 ([\d.]+) ([\d.]+)"', page)
    if found is None:
        msg = "typst's SVG has no viewBox to read its size from"
        raise ValueError(msg)
    return float(found[1]), float(found[2])
