"""What every printed page shares: data into a template of typst, and its pages out of it as one file."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Mapping
from importlib import resources
from io import BytesIO
from typing import Any, Literal

from scheduler.sheet import glyphs

Paper = Literal["a4", "us-letter"]
Format = Literal["pdf", "png", "svg"]

#: Dots per inch of the PNG; 9 pt letters are then 19 dots high, fit for a printer and a photocopy.
PNG_PPI = 150.0

_CLOCK_PARTS = ("year", "month", "day", "hour", "minute", "second")


def template_source(name: str) -> bytes:
    """Return a template, what every page has in common before it."""
    folder = resources.files("scheduler.sheet")
    return b"\n".join(folder.joinpath(part).read_bytes() for part in ("house.typ", name))


def print_settings(data: Mapping[str, Any], made_at: dt.datetime, paper: Paper) -> dict[str, Any]:
    """Return what typst needs beside the template: the fonts, and the content as data, never as source.

    Each letter of the content that the font does not have stands as its code point. `made_at` becomes the date of
    the file: left to itself typst takes the clock's.
    """
    at = made_at.astimezone(dt.UTC)
    shown = {
        **_printable(dict(data)),
        "made_at": {part: getattr(at, part) for part in _CLOCK_PARTS},
        "paper": paper,
        "font": glyphs.FAMILY,
    }
    return {
        "font_paths": [str(glyphs.font_folder())],
        "ignore_system_fonts": True,
        "sys_inputs": {"data": json.dumps(shown)},
    }


def typeset(source: bytes, settings: Mapping[str, Any], fmt: Format) -> bytes:
    """Print with typst.

    A PDF holds all its pages; a PNG or SVG shows them one below the other in one picture, so that no old
    second page can stay behind next to a new first one.

    Returns
    -------
    bytes
        The same for the same source and settings.
    """
    import typst

    printed = typst.compile(source, format=fmt, ppi=PNG_PPI, **settings)
    pages: list[bytes] = printed if isinstance(printed, list) else [printed]
    if len(pages) == 1:
        return pages[0]
    return _stack_png(pages) if fmt == "png" else _stack_svg(pages)


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
