"""Sizes of array and bank: the same days for all, some of each month, and the yard's own among them."""

from __future__ import annotations

import io

import pytest

from scheduler.commands.size import SizeRequest, size_yard
from scheduler.errors import UsageError
from scheduler.sheet.sizechart import draw_sizes, render_size_chart
from scheduler.sheet.sizescreen import headline, render_sizing
from scheduler.studies import sizing as module
from scheduler.studies.sizing import SizeGrid, Sizing, live_sampled, resized, study_sizes
from scheduler.studies.worstmonth import worst_month
from scheduler.studies.year import YearSettings
from scheduler.studies.yearrecord import NeedLived, Readiness
from scheduler.yard.models import Yard
from tests.studies.small_yard import AtOnce, greensboro, small_yard, tell_nobody


def test_a_resized_yard_has_as_many_of_each_as_asked() -> None:
    yard = resized(small_yard(), 5, 3)
    assert (yard.arrays[0].panels, len(yard.bank.modules_wh)) == (5, 3)
    assert resized(small_yard(), 2, 1) == small_yard()


def test_a_few_days_in_the_middle_of_every_month_are_counted() -> None:
    months = live_sampled(small_yard(), greensboro(), YearSettings(), 2)
    assert [len(needs) for needs in months] == [2] * 12
    assert all(need.machine == "cart" for needs in months for need in needs)


def made_up(monkeypatch: pytest.MonkeyPatch, grid: SizeGrid) -> Sizing:
    """Sizes in which every panel and every module meets one need more of ten, in each month."""

    def live(yard: Yard, *given: object) -> tuple[tuple[NeedLived, ...], ...]:
        met = sum(array.panels for array in yard.arrays) + len(yard.bank.modules_wh)
        needs = tuple(NeedLived("cart", "must", 9.0, 9.0 if number < met else 0.0) for number in range(10))
        return ((*needs, NeedLived("hoe", "could", 9.0, 0.0)),) * 12

    monkeypatch.setattr(module, "live_sampled", live)
    return study_sizes(small_yard(), greensboro(), grid, YearSettings(), AtOnce(), tell_nobody)


def test_every_size_is_lived_and_todays_is_among_them(monkeypatch: pytest.MonkeyPatch) -> None:
    sizing = made_up(monkeypatch, SizeGrid(panels=(4, 1), modules=(3,)))
    assert [(point.panels, point.modules) for point in sizing.points] == [
        (1, 1), (1, 3), (2, 1), (2, 3), (4, 1), (4, 3),
    ]  # fmt: skip
    assert (sizing.today.panels, sizing.today.modules) == (2, 1)
    assert sizing.at(4, 3).must == Readiness(84, 120, 36 * 9.0)
    assert sizing.at(4, 3).all.asked == 132
    assert sizing.at(4, 3).must_by_month[6] == Readiness(7, 10, 27.0)
    assert sizing.at(4, 3).bank_wh == 2400.0


def test_without_sizes_the_usual_multiples_are_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    sizing = made_up(monkeypatch, SizeGrid())
    assert sizing.panels == (1, 2, 3, 4)
    assert sizing.modules == (1, 2, 3)


def test_the_headline_says_what_the_next_sizes_bring(monkeypatch: pytest.MonkeyPatch) -> None:
    sizing = made_up(monkeypatch, SizeGrid(panels=(4,), modules=(2, 3)))
    assert headline(sizing) == (
        "With 2 panels and 1 bank module the yard meets 30 % of its must needs; 50 % with 4 panels and 1 module, "
        "40 % with 2 panels and 2 modules."
    )


def test_the_screen_marks_todays_yard_and_shows_every_step_of_the_rule(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from rich.console import Console

    sizing = made_up(monkeypatch, SizeGrid())
    console = Console(width=80, record=True, file=io.StringIO())
    console.print(render_sizing(sizing, "a typical year", 80))
    told = console.export_text()
    assert told.count("[30 %]") == 1
    for step in worst_month(small_yard(), greensboro()).steps:
        assert step.name in told
    assert max(len(line) for line in told.splitlines()) <= 80


@pytest.mark.parametrize(("form", "begins"), [("png", b"\x89PNG"), ("svg", b"<?xml")])
def test_the_chart_is_drawn(monkeypatch: pytest.MonkeyPatch, form: str, begins: bytes) -> None:
    sizing = made_up(monkeypatch, SizeGrid())
    chart = render_size_chart(sizing, form)  # type: ignore[arg-type]
    assert chart.startswith(begins)
    if form == "svg":
        assert chart == render_size_chart(sizing, "svg"), "the same sizes make the same file"


def test_no_label_of_a_line_lies_on_todays_mark(monkeypatch: pytest.MonkeyPatch) -> None:
    """Today's yard stands at 30 %, on a line of its own."""
    sizing = made_up(monkeypatch, SizeGrid())
    figure = draw_sizes(sizing)
    figure.draw_without_rendering()
    axes = figure.axes[0]
    (today,) = (text for text in axes.texts if text.get_text() == "today, 30 %")
    beside = [text for text in axes.texts if text.get_visible() and text is not today]
    assert any(text.get_text() == "40 %" for text in beside)
    assert not [text for text in beside if text.get_window_extent().overlaps(today.get_window_extent())]
    mark = axes.transData.transform((sizing.today.array_w / 1000.0, sizing.today.bank_wh / 1000.0))
    assert not [text for text in beside if text.get_window_extent().contains(*mark)]


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"panels": "8;9"}, '--panels "8;9": wanted whole numbers'),
        ({"panels": "0"}, "--panels 0: wanted 1 to 1000"),
        ({"modules": "0,2"}, "--modules 0: wanted 1 to 1000; a bank needs a module"),
    ],
)
def test_sizes_that_are_none_are_told(asked: dict[str, str], said: str) -> None:
    request = SizeRequest(fleet=None, **asked)  # type: ignore[arg-type]
    with pytest.raises(UsageError) as refused:
        size_yard(small_yard(), greensboro(), request, tell_nobody)
    assert str(refused.value).startswith(said)
