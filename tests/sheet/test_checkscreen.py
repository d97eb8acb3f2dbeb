"""The check-up on a terminal: its order, its width, and names that are no markup."""

from __future__ import annotations

import io

import pytest
from rich.cells import cell_len
from rich.console import Console

from scheduler.sheet.checkpage import check_content
from scheduler.sheet.checkscreen import render_check
from tests.sheet.check_samples import HARD_NAMES, SAMPLES, every_grade, hard_names, sound


def screen(checkup, width=80):
    out = io.StringIO()
    Console(file=out, width=width, highlight=False).print(render_check(check_content(checkup), width))
    return out.getvalue()


def flat(text):
    return " ".join(text.split())


@pytest.mark.parametrize("width", [60, 80, 200])
@pytest.mark.parametrize("name", SAMPLES)
def test_no_line_is_wider_than_the_console_and_nothing_is_cut(name, width):
    text = screen(SAMPLES[name](), width)
    assert max(cell_len(line.rstrip()) for line in text.splitlines()) <= min(width, 100)
    assert "…" not in text


@pytest.mark.parametrize("name", [name for name in SAMPLES if name != "hard names"])
def test_everything_but_names_is_plain_ascii(name):
    assert screen(SAMPLES[name]()).isascii()


def test_cautions_stand_before_every_figure():
    text = screen(every_grade())
    first_figure = min(text.index(figure) for figure in ("163", "150", "17.4", "2,304"))
    assert text.index("Local codes and licensed practice come first") < first_figure
    assert text.index("Direct current draws an arc") < first_figure


def test_it_goes_from_the_sentence_over_figures_and_findings_to_what_was_not_checked():
    text = screen(every_grade())
    marks = (
        "1 thing should",
        "BEFORE YOU",
        "FIGURES",
        "FINDINGS",
        "STOP: ",
        "WARNING: ",
        "NOTE: ",
        "NOT CHECKED",
    )
    places = [text.index(mark) for mark in marks]
    assert places == sorted(places)


def test_a_finding_has_its_caution_then_its_title_then_figure_source_meaning_and_mend():
    text = flat(screen(every_grade()))
    told = text[text.index("STOP: ") : text.index("WARNING: ")]
    assert told.strip() == (
        "STOP: array to input, roof Caution: Direct current draws an arc that does not go out. "
        "Three panels in a row reach 163 V on the coldest morning, the input stands 150 V. "
        "found 163 V, limit 150 V source NEC 690.7(A) "
        "means The input breaks on the first clear morning after a cold night. "
        "mend Wire two in a row and two rows side by side."
    )


def test_figures_stand_with_their_limit_unit_and_source():
    row = next(line for line in screen(sound()).splitlines() if "coldest morning" in line)
    assert row.split() == ["string", "volts", "on", "the", "coldest", "morning", "54.2", "150", "V", "(1)"]


def test_a_sound_yard_has_no_empty_parts():
    text = screen(sound())
    assert "FINDINGS" not in text
    assert "NOT CHECKED" not in text
    assert "A stop can break or burn" not in text


def test_names_are_text_and_no_markup():
    text = "".join(screen(hard_names(), 100).split())
    for name in HARD_NAMES:
        assert text.count("".join(name.split())) == 2  # over its figures and over its finding
