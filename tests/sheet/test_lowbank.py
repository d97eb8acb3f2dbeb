"""What a bank below its reserve asks for: the page's own rule, for just below and not for just at it."""

from __future__ import annotations

import pytest

from scheduler.sheet import lowbank
from scheduler.sheet.page import page_content
from tests.sheet.sample import field_plan, field_yard


@pytest.mark.parametrize(
    ("shown_pct", "reserve_pct", "least"),
    [
        (30.0, 30.0, None),
        (29.9, 30.0, "30 %"),
        (12.0, 30.0, "30 %"),
        (13.0, 12.5, None),
        (12.7, 12.5, "13 %"),  # the page has the reserve rounded up
        (30.0, 100 * 0.3000000000000001, None),
        (0.0, 0.0, None),
    ],
)
def test_a_reading_is_low_below_what_the_page_has_as_the_reserve(
    shown_pct: float, reserve_pct: float, least: str | None
) -> None:
    told = lowbank.warning(shown_pct, reserve_pct)
    assert told.startswith(f"BELOW THE RESERVE: the bank shows less than {least}") if least else told == ""


def test_the_words_are_those_of_the_page() -> None:
    rules = " ".join(page_content(field_plan(), field_yard()).rules)
    assert lowbank.UNPLUG in rules
    assert lowbank.UNPLUG in lowbank.warning(12.0, 25.0)
    assert "The bank shows less than 25 %" in rules
