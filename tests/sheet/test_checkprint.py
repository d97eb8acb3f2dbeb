"""The check-up's page, read back out of the PDF by another library."""

from __future__ import annotations

import ctypes
import datetime as dt
import re
from zoneinfo import ZoneInfo

import pypdfium2 as pdfium
import pypdfium2.raw as pdfium_c
import pytest
import typst

from scheduler.checkup.findings import Part, PartReport
from scheduler.sheet.checkpage import check_content
from scheduler.sheet.checkprint import (
    check_page_source,
    check_page_warnings,
    check_print_settings,
    render_check_page,
)
from scheduler.sheet.glyphs import printable
from tests.sheet.check_samples import SAMPLES, figure, put

MADE_AT = dt.datetime(2026, 11, 25, 20, 15, tzinfo=ZoneInfo("America/New_York"))
PAPER_POINTS = {"a4": (595, 842), "us-letter": (612, 792)}


def printed_as(name, fmt="pdf", paper="a4"):
    return render_check_page(check_content(SAMPLES[name]()), MADE_AT, fmt, paper)


@pytest.fixture(scope="module", params=SAMPLES)
def printed(request):
    return check_content(SAMPLES[request.param]()), pdfium.PdfDocument(printed_as(request.param))


def squeezed(text):
    """Text without blanks, line ends and the break marks between the letters of a long word."""
    return re.sub(r"[\s\u200b\ufffe\x02]", "", text)


def text_of(document):
    return squeezed("".join(page.get_textpage().get_text_range() for page in document))


def body_of(document):
    """The text without what stands in the margins of each page."""
    parts = []
    for page in document:
        width, height = page.get_size()
        parts.append(page.get_textpage().get_text_bounded(0, 33, width, height - 34))
    return squeezed("".join(parts))


def test_everything_is_said_once_and_in_order(printed):
    content, document = printed
    rows = [
        told
        for group in content.groups
        for told in (group.heading, *(f"{r.name}{r.found}{r.limit}{r.unit}{r.source}" for r in group.rows))
    ]
    boxes = [
        told
        for box in content.boxes
        for told in (
            box.grade,
            box.where,
            box.caution,
            box.title,
            box.found,
            box.source,
            box.meaning,
            box.mend,
        )
    ]
    text = body_of(document)
    at = 0
    for told in (content.yard, content.headline, *content.about, *content.cautions, *rows, *boxes,
                 *content.unchecked, *content.sources):  # fmt: skip
        wanted = squeezed(printable(told))
        found = text.find(wanted, at)
        assert found >= 0, (told, text[at : at + 200])
        at = found + len(wanted)


def test_no_letter_is_smaller_than_nine_points(printed):
    _, document = printed
    assert min(text_sizes(document)) >= 9.0 - 1e-6


def text_sizes(document):
    for page in document:
        for item in page.get_objects(filter=[pdfium_c.FPDF_PAGEOBJ_TEXT]):
            size = ctypes.c_float()
            assert pdfium_c.FPDFTextObj_GetFontSize(item.raw, ctypes.byref(size))
            yield size.value * abs(item.get_matrix().d)


def test_nothing_runs_out_of_the_page_and_nothing_lies_on_anything_else(printed):
    _, document = printed
    for page in document:
        width, height = page.get_size()
        boxes = [item.get_bounds() for item in page.get_objects(filter=[pdfium_c.FPDF_PAGEOBJ_TEXT])]
        for index, (left, bottom, right, top) in enumerate(boxes):
            assert 25 <= left <= right <= width - 25
            assert 12 <= bottom <= top <= height - 12
            for other in boxes[index + 1 :]:
                across = min(right, other[2]) - max(left, other[0])
                up = min(top, other[3]) - max(bottom, other[1])
                assert across < 1.0 or up < 1.0, (boxes[index], other)


def test_every_letter_has_a_glyph(printed):
    # PDF/A-2b forbids the glyph for a missing letter: typst then raises instead of printing an empty box.
    content, _ = printed
    settings = check_print_settings(content, MADE_AT, "a4")
    typst.compile(check_page_source(), format="pdf", pdf_standards="a-2b", **settings)


def test_a_finding_stays_on_one_page():
    content = check_content(SAMPLES["many"]())
    pages = [text_of([page]) for page in pdfium.PdfDocument(printed_as("many"))]
    assert len(pages) > 2
    for box in content.boxes:
        begins, ends = squeezed(box.grade + box.where), squeezed(box.mend)
        assert any(begins in page and ends in page[page.index(begins) :] for page in pages), box.where


def test_no_heading_is_left_behind_by_its_figures():
    rows = [(Part.CABLE, f"array {number // 2}") for number in range(120)]
    for spare in range(3):
        figures = tuple(figure(part, about) for part, about in rows[spare:])
        content = check_content(put(PartReport(figures=figures)))
        document = pdfium.PdfDocument(render_check_page(content, MADE_AT, "pdf"))
        assert len(document) > 1
        for page in document:
            lines = [squeezed(line) for line in page.get_textpage().get_text_range().splitlines()]
            foot = [line for line in lines if line.startswith(("string", "cableand"))][-1]
            assert foot.startswith("string"), (spare, foot)


def test_later_pages_say_whose_and_which_they_are():
    document = pdfium.PdfDocument(printed_as("many"))
    for number, page in enumerate(document, start=1):
        text = text_of([page])
        if number > 1:
            assert text.startswith(f"beanshedpage{number}ofthecheck-up")
        assert f"Page{number}of{len(document)}" in text


def test_stops_and_warnings_have_room_to_sign_that_they_are_mended():
    text = text_of(pdfium.PdfDocument(printed_as("every grade")))
    assert text.count("Mendedon") == 2


def test_the_day_is_that_of_the_check_on_the_yards_clock():
    document = pdfium.PdfDocument(printed_as("sound"))
    assert "Check-up,Wed25Nov2026" in text_of(document)
    assert document.get_metadata_value("CreationDate").startswith("D:20261126011500")


def test_letters_without_a_glyph_are_told_and_shown_as_code_points():
    warnings = check_page_warnings(check_content(SAMPLES["hard names"]()))
    assert len(warnings) == 1
    assert "the page has no letter for [U+65E5], [U+672C]" in warnings[0]
    assert check_page_warnings(check_content(SAMPLES["many"]())) == []


@pytest.mark.parametrize("paper", PAPER_POINTS)
def test_the_paper_is_the_one_asked_for(paper):
    page = pdfium.PdfDocument(printed_as("sound", "pdf", paper))[0]
    assert tuple(round(side) for side in page.get_size()) == PAPER_POINTS[paper]


@pytest.mark.parametrize("fmt", ["pdf", "svg"])
def test_the_same_check_up_gives_the_same_bytes(fmt):
    assert printed_as("every grade", fmt) == printed_as("every grade", fmt)


def test_the_page_needs_no_colour(printed):
    _, document = printed
    red, green, blue = document[0].render(scale=1).to_pil().convert("RGB").split()
    assert red.tobytes() == green.tobytes() == blue.tobytes()
