"""Which letters the page can show."""

from __future__ import annotations

import pytest

from scheduler.sheet.glyphs import letter_warnings, missing_letters, printable, visible


@pytest.mark.parametrize("text", ["plain", "Ä ß é", "cafe\u0301", "Κηπουρική", "Тележка № 7", "→ ≥ ½ °"])
def test_letters_of_the_fonts_stay(text):
    assert printable(text) == text
    assert letter_warnings([text]) == []


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("日本", "[U+65E5][U+672C]"),
        ("a\U0001f69cb", "a[U+1F69C]b"),
        ("two\nlines", "two[U+000A]lines"),
        ("\u202ereversed", "[U+202E]reversed"),
        ("soft\u00adhyphen", "soft[U+00AD]hyphen"),
        ("\ue000", "[U+E000]"),
    ],
)
def test_other_letters_become_their_code_points(text, shown):
    assert printable(text) == shown


def test_text_that_is_not_printed_keeps_foreign_letters():
    assert visible("日本\u202e\n") == "日本[U+202E][U+000A]"


def test_a_letter_is_told_once_a_text_and_a_text_once():
    assert missing_letters("日本日") == ["日", "本"]
    assert len(letter_warnings(["日本", "日本", "plain"])) == 1
