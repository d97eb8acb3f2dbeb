"""The study of a fit: what it looks for, and that it says what the lives say. Most lives are made up here."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from types import SimpleNamespace

import pytest

from scheduler.studies import fits
from scheduler.studies.fits import FitSettings, FitStudy, WayOfLiving, study_fit
from scheduler.studies.year import YearSettings
from scheduler.studies.yearrecord import YearLived
from scheduler.yard.models import Yard
from tests.studies.lives import lived
from tests.studies.small_yard import AtOnce, daily, greensboro, small_yard, tell_nobody

HOE = daily("hoe", 100.0, at="08:00")
Ready = Callable[[Yard, int], bool]


def study(
    monkeypatch: pytest.MonkeyPatch,
    hoe_ready: Ready,
    cart_ready: Ready,
    asked: int = 20,
    months_by_themselves: bool = False,
) -> FitStudy:
    """The study of a year in which readiness is a matter of the yard and the month alone.

    With `months_by_themselves` everybody is ready where no more than a month is lived.
    """
    lives: list[tuple[Yard, YearSettings]] = []

    def live(self: WayOfLiving, yard: Yard, settings: YearSettings) -> YearLived:
        lives.append((yard, settings))
        last = settings.first_day + dt.timedelta(days=settings.n_days - 1)
        months = range(settings.first_day.month, last.month + 1)
        needs = [(month, "cart", "must", cart_ready(yard, month)) for month in months for _ in range(asked)]
        if len(yard.machines) > 1:
            single = months_by_themselves and settings.n_days < 365
            needs += [
                (month, "hoe", "could", single or hoe_ready(yard, month))
                for month in months
                for _ in range(asked)
            ]
        return lived(*needs)

    monkeypatch.setattr(WayOfLiving, "live", live)
    hourly = SimpleNamespace(
        agenda=SimpleNamespace(whole=SimpleNamespace(grid=SimpleNamespace(step_minutes=60)))
    )
    monkeypatch.setattr(fits, "prepare_year", lambda *given: hourly)
    found = study_fit(small_yard(), [HOE], greensboro(), FitSettings(YearSettings()), AtOnce(), tell_nobody)
    assert found.lived_days == sum(settings.n_days for _, settings in lives)
    years_lived[:] = [settings for _, settings in lives if settings.n_days == 365]
    return found


years_lived: list[YearSettings] = []


def always(yard: Yard, month: int) -> bool:
    return True


def test_where_everything_fits_two_years_are_all_that_is_lived(monkeypatch: pytest.MonkeyPatch) -> None:
    found = study(monkeypatch, always, always)
    assert found.fit.fits
    assert (found.alone, found.limits, found.remedies, found.in_vain) == (None, (), (), ())
    assert len(years_lived) == 2


def test_the_smallest_change_is_found_and_verified_by_its_year(monkeypatch: pytest.MonkeyPatch) -> None:
    # In December the hoe wants 4 panels or a reserve of 10 %, nothing else helps.
    def hoe_ready(yard: Yard, month: int) -> bool:
        return month < 12 or yard.arrays[0].panels >= 4 or yard.bank.reserve_pct <= 10

    found = study(monkeypatch, hoe_ready, always)
    assert found.fit.months_that_fit == tuple(range(1, 12))
    assert [limit.name for limit in found.limits if limit.fits] == ["sun"]
    assert {remedy.words: remedy.fit.fits for remedy in found.remedies} == {
        "2 more panels": True,
        "a reserve of 10 %": True,
    }
    assert set(found.in_vain) == {"bank modules", "an outlet", "a timer", "a visit", "a later ready-by"}
    assert len(years_lived) == 4


def test_a_change_that_does_for_the_month_and_not_for_the_year_is_tried_one_size_larger(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Three panels do in December, in which more goes wrong, but January wants four.
    def hoe_ready(yard: Yard, month: int) -> bool:
        return yard.arrays[0].panels >= {1: 4, 12: 3}.get(month, 0)

    def cart_ready(yard: Yard, month: int) -> bool:
        return month < 12 or len(yard.machines) == 1 or yard.arrays[0].panels >= 3

    found = study(monkeypatch, hoe_ready, cart_ready)
    assert [(remedy.words, remedy.fit.fits) for remedy in found.remedies] == [("2 more panels", True)]
    assert len(years_lived) == 4


def test_who_pays_is_named_with_the_months(monkeypatch: pytest.MonkeyPatch) -> None:
    def cart_ready(yard: Yard, month: int) -> bool:
        return month not in {1, 12} or len(yard.machines) == 1

    found = study(monkeypatch, always, cart_ready)
    (payer,) = found.fit.payers
    assert (payer.machine, payer.lost_by_month) == ("cart", {1: 20, 12: 20})
    assert found.fit.months_that_fit == tuple(range(2, 12))


def test_where_too_much_is_forgiven_over_the_year_nothing_is_forgiven_in_the_month(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # One need in ten is missed in every month but May, which each month forgives and the year does not.
    def hoe_ready(yard: Yard, month: int) -> bool:
        counted[month] = counted.get(month, -1) + 1
        return month == 5 or len(yard.bank.modules_wh) > 1 or counted[month] % 10 != 0

    counted: dict[int, int] = {}
    found = study(monkeypatch, hoe_ready, always, asked=10)
    assert all(month.fits for month in found.fit.months)
    assert found.fit.months_that_fit == (5, 12), "one of twenty is few enough, two of thirty are not"
    assert [limit.name for limit in found.limits if limit.fits] == ["bank"]
    assert [(remedy.words, remedy.fit.fits) for remedy in found.remedies] == [("1 more bank module", True)]


def test_a_month_that_fits_by_itself_says_nothing_of_the_year(monkeypatch: pytest.MonkeyPatch) -> None:
    found = study(monkeypatch, lambda yard, month: month != 12, always, months_by_themselves=True)
    assert not found.fit.fits
    assert found.alone is not None
    assert found.alone.fits_strictly
    assert (found.limits, found.remedies) == ((), ())


def test_halving_finds_the_first_that_fits_with_few_lives(monkeypatch: pytest.MonkeyPatch) -> None:
    class Job:
        def judge(self, number: int) -> int:
            return number

        def fits(self, number: int) -> bool:
            return number >= 11

    changes = [type("Change", (), {"yard": number}) for number in range(16)]
    found = fits._halve(Job(), changes)  # type: ignore[arg-type]
    assert (found.number, found.lives) == (11, 5)


def test_a_machine_that_asks_little_fits_a_yard_with_sun_to_spare() -> None:
    settings = FitSettings(YearSettings(first_day=dt.date(2027, 6, 1), n_days=5))
    found = study_fit(small_yard(), [daily("hoe", 20.0)], greensboro(), settings, AtOnce(), tell_nobody)
    assert found.fit.fits
    assert found.lived_days == 10
    assert found.fit.months[0].newcomers[0].asked == 5


def test_a_machine_that_asks_for_more_than_there_is_does_not() -> None:
    dark = small_yard(bank=small_yard().bank.model_copy(update={"level_pct": 20.0}))
    settings = FitSettings(YearSettings(first_day=dt.date(2027, 12, 1), n_days=4))
    way = fits._Lab.opened(dark, [daily("saw", 390.0)], greensboro(), settings, AtOnce(), tell_nobody)
    without, with_it = (way.way.live(yard, way.year) for yard in (way.yard, way.joined))
    assert not fits.judge_fit(without, with_it, ["saw"]).fits
