"""The printed page, read back out of the PDF by another library."""

from __future__ import annotations

import ctypes
import datetime as dt
import re
from dataclasses import replace

import pypdfium2 as pdfium
import pypdfium2.raw as pdfium_c
import pytest
import typst
from PIL import Image

from scheduler.sheet.glyphs import printable
from scheduler.sheet.page import page_content
from scheduler.sheet.pageprint import page_source, page_warnings, print_settings, render_page
from tests.sheet.page_samples import hostile_yard, moving_plan, twenty_yard
from tests.sheet.sample import autumn_plan, field_plan, field_yard, ready_plan, ready_yard

SAMPLES = {
    "two machines": (ready_plan, ready_yard),
    "eight machines": (field_plan, field_yard),
    "twenty machines": (lambda: moving_plan(twenty_yard()), twenty_yard),
    "hostile names": (lambda: moving_plan(hostile_yard()), hostile_yard),
    "a day of 25 hours": (autumn_plan, ready_yard),
}
PAPER_POINTS = {"a4": (595, 842), "us-letter": (612, 792)}


def content_of(name):
    plan, yard = SAMPLES[name]
    return page_content(plan(), yard())


@pytest.fixture(scope="module", params=SAMPLES)
def printed(request):
    content = content_of(request.param)
    return content, pdfium.PdfDocument(render_page(content, "pdf"))


def squeezed(text):
    """Text without blanks, line ends and the break marks between the letters of a long word."""
    return re.sub(r"[\s\u200b\ufffe\x02]", "", text)


def page_texts(document):
    return [page.get_textpage().get_text_range() for page in document]


def expected_line(line):
    only_if = f"ONLY IF {' '.join(line.only_if)}:" if line.only_if else ""
    return squeezed(printable(f"{only_if}{line.verb}{line.machine}{line.link}{line.outlet}{line.note}"))


def test_each_box_holds_its_lines_in_order_and_no_other(printed):
    content, document = printed
    text = squeezed("".join(page_texts(document)))
    for box in content.boxes:
        text = text[text.index(squeezed(f"{box.time}{box.day}{box.number}")) :]
        for line in box.lines:
            at = text.find(expected_line(line))
            assert at >= 0, line
            text = text[at + len(expected_line(line)) :]


def test_the_pdf_holds_as_many_actions_as_the_plan(printed):
    content, document = printed
    text = squeezed("".join(page_texts(document)))
    lines = [line for box in content.boxes for line in box.lines]
    for verb in ("UNPLUG", "PLUG IN"):
        assert text.count(squeezed(verb)) == sum(line.verb == verb for line in lines)


def test_the_care_to_take_stands_on_the_first_page_before_the_first_box(printed):
    content, document = printed
    first = squeezed(page_texts(document)[0])
    assert squeezed(content.care) in first
    assert first.index(squeezed(content.care)) < first.index(squeezed(content.rules[0]))


def test_names_are_printed_as_they_are_written(printed):
    content, document = printed
    text = squeezed("".join(page_texts(document)))
    for row in content.strip.rows:
        assert squeezed(printable(row.machine)) in text
    assert squeezed(printable(content.yard)) in text


def test_no_letter_is_smaller_than_nine_points(printed):
    _, document = printed
    smallest = min(text_sizes(document))
    assert smallest >= 9.0 - 1e-6


def test_names_of_the_actions_are_large(printed):
    content, document = printed
    if any(box.lines for box in content.boxes):
        assert sum(size >= 15.0 for size in text_sizes(document)) >= 2


def text_sizes(document):
    for page in document:
        for item in page.get_objects(filter=[pdfium_c.FPDF_PAGEOBJ_TEXT]):
            size = ctypes.c_float()
            assert pdfium_c.FPDFTextObj_GetFontSize(item.raw, ctypes.byref(size))
            yield size.value * abs(item.get_matrix().d)


def test_nothing_runs_out_of_the_page_or_into_the_margin(printed):
    _, document = printed
    for page in document:
        width, height = page.get_size()
        for item in page.get_objects(filter=[pdfium_c.FPDF_PAGEOBJ_TEXT]):
            left, bottom, right, top = item.get_bounds()
            assert 25 <= left <= right <= width - 25
            assert 12 <= bottom <= top <= height - 12


def test_no_text_lies_on_other_text(printed):
    _, document = printed
    for page in document:
        boxes = [item.get_bounds() for item in page.get_objects(filter=[pdfium_c.FPDF_PAGEOBJ_TEXT])]
        for index, (left, bottom, right, top) in enumerate(boxes):
            for other in boxes[index + 1 :]:
                across = min(right, other[2]) - max(left, other[0])
                up = min(top, other[3]) - max(bottom, other[1])
                assert across < 1.0 or up < 1.0, (page, boxes[index], other)


def test_every_letter_has_a_glyph(printed):
    # PDF/A-2b forbids the glyph for a missing letter: typst then raises instead of printing an empty box.
    content, _ = printed
    typst.compile(page_source(), format="pdf", pdf_standards="a-2b", **print_settings(content, "a4"))


def test_a_missing_letter_would_be_noticed():
    content = content_of("two machines")
    settings = print_settings(content, "a4")
    data = settings["sys_inputs"]["data"].replace("Sweetgum", "日")
    with pytest.raises(typst.TypstError):
        typst.compile(
            page_source(), format="pdf", pdf_standards="a-2b", **{**settings, "sys_inputs": {"data": data}}
        )


def test_letters_without_a_glyph_are_told_and_shown_as_code_points():
    content = content_of("hostile names")
    warnings = page_warnings(content)
    assert len(warnings) == 2
    assert warnings[0].startswith("日本の草刈機: the page has no letter for [U+65E5], [U+672C]")
    assert "[U+200E]" in warnings[1]
    assert page_warnings(content_of("eight machines")) == []
    text = squeezed("".join(page_texts(pdfium.PdfDocument(render_page(content, "pdf")))))
    assert "[U+65E5][U+672C][U+306E][U+8349][U+5208][U+6A5F]" in text


@pytest.mark.parametrize("paper", PAPER_POINTS)
def test_the_paper_is_the_one_asked_for(paper):
    page = pdfium.PdfDocument(render_page(content_of("two machines"), "pdf", paper))[0]
    assert tuple(round(side) for side in page.get_size()) == PAPER_POINTS[paper]


def test_more_than_fits_goes_to_more_pages_with_their_own_headings():
    content = content_of("twenty machines")
    texts = page_texts(pdfium.PdfDocument(render_page(content, "pdf")))
    assert len(texts) > 1
    for number, text in enumerate(texts[1:], start=2):
        heading = squeezed(f"{content.yard}page {number} of the plan {content.period}")
        assert squeezed(text).startswith(heading)
    for number, text in enumerate(texts[:-1], start=1):
        assert f"Page {number} of {len(texts)}: the plan continues on page {number + 1}" in text
    assert f"Page {len(texts)} of {len(texts)}" in texts[-1]


def test_a_box_stays_on_one_page():
    content = content_of("twenty machines")
    pages = [squeezed(text) for text in page_texts(pdfium.PdfDocument(render_page(content, "pdf")))]
    for box in content.boxes:
        head = squeezed(f"{box.time}{box.day}{box.number}")
        [page] = [page for page in pages if head in page]
        assert all(expected_line(line) in page[page.index(head) :] for line in box.lines)


@pytest.mark.parametrize("fmt", ["pdf", "png", "svg"])
def test_the_same_plan_gives_the_same_bytes(fmt):
    assert render_page(content_of("eight machines"), fmt) == render_page(content_of("eight machines"), fmt)


def test_the_date_in_the_pdf_is_that_of_the_plan():
    content = content_of("two machines")
    moved = replace(content, made_at=content.made_at + dt.timedelta(days=1))
    document = pdfium.PdfDocument(render_page(content, "pdf"))
    assert content.made_at.strftime("D:%Y%m%d%H%M%S") in document.get_metadata_value("CreationDate")
    assert render_page(moved, "pdf") != render_page(content, "pdf")


def test_a_picture_shows_all_pages_one_below_the_other(tmp_path):
    content = content_of("eight machines")
    pages = pdfium.PdfDocument(render_page(content, "pdf"))
    (tmp_path / "page.png").write_bytes(render_page(content, "png"))
    with Image.open(tmp_path / "page.png") as picture:
        assert picture.width == pytest.approx(595.28 / 72 * 150, abs=1)
        assert picture.height == pytest.approx(len(pages) * 841.89 / 72 * 150, abs=len(pages))
        for number in range(len(pages)):
            height = picture.height // len(pages)
            foot = (0, int((number + 0.95) * height), picture.width, (number + 1) * height)
            assert picture.crop(foot).getextrema()[0] < 64  # the page's own number stands there
    svg = render_page(content, "svg").decode()
    height = re.search(r'viewBox="0 0 [\d.]+ ([\d.]+)"', svg)
    assert float(height[1]) == pytest.approx(len(pages) * 841.89, abs=0.1)


def test_the_page_needs_no_colour():
    content = content_of("eight machines")
    for page in pdfium.PdfDocument(render_page(content, "pdf")):
        red, green, blue = page.render(scale=1).to_pil().convert("RGB").split()
        assert red.tobytes() == green.tobytes() == blue.tobytes()
