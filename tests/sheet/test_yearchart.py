"""The chart of a year by month."""

from __future__ import annotations

from io import BytesIO
from xml.etree import ElementTree as ET

import matplotlib as mpl
import pytest
from PIL import Image

from scheduler.sheet.chart import SETTINGS
from scheduler.sheet.yearchart import build_year_figure, monthly_uses_wh, render_year_chart
from tests.studies.made_years import study, two_weeks


def test_the_uses_of_a_month_are_its_sun_less_what_the_bank_keeps() -> None:
    year = two_weeks()
    january, february = (sum(amounts) for amounts in zip(*monthly_uses_wh(year).values(), strict=True))
    assert january == pytest.approx(7 * 2700.0)
    assert february == pytest.approx(7 * 2700.0)


def test_there_is_a_bar_for_each_class_and_month() -> None:
    with mpl.rc_context(SETTINGS):
        ready, energy, bank = build_year_figure(study()).axes
    assert [bar.get_height() for bar in ready.patches] == pytest.approx([500 / 7, 100.0, 100.0, 300 / 7])
    assert [label.get_text() for label in ready.get_xticklabels()] == ["Jan", "Feb"]
    assert len(energy.patches) == 4 * 2
    assert bank.lines[0].get_ydata() == pytest.approx([30.0] * 14)


def test_it_is_a_picture_and_the_same_one_again() -> None:
    with Image.open(BytesIO(render_year_chart(study(), "png"))) as picture:
        assert picture.size == (1500, 1350)
    svg = render_year_chart(study(), "svg")
    assert ET.fromstring(svg).tag.endswith("svg")
    assert render_year_chart(study(), "svg") == svg
