"""What fits: shares of needs, month by month and over all the months together."""

from __future__ import annotations

import pytest

from scheduler.sheet.fitwords import answer, months_named, payer_named
from scheduler.studies.fitting import Fit, MonthFit, Payer, judge_fit
from scheduler.studies.yearrecord import Readiness
from tests.studies.lives import lived


def month(
    number: int = 1,
    *,
    new: tuple[int, int] = (20, 20),
    must_lost: int = 0,
    others_lost: int = 0,
    asked: int = 60,
) -> MonthFit:
    """A month in which everything of the yard was met before."""
    return MonthFit(
        number,
        (Readiness(*new, 0.0),),
        Readiness(asked, asked, 0.0),
        Readiness(asked - must_lost, asked, 0.0),
        Readiness(asked, asked, 0.0),
        Readiness(asked - others_lost, asked, 0.0),
    )


def test_a_month_in_which_nothing_goes_wrong_fits() -> None:
    assert month().fits


@pytest.mark.parametrize(("ready", "fits"), [(96, True), (95, True), (94, False)])
def test_a_new_machine_misses_at_most_one_need_in_twenty(ready: int, fits: bool) -> None:
    assert month(new=(ready, 100)).fits is fits


@pytest.mark.parametrize(("lost", "fits"), [(4, True), (5, False), (-5, True)])
def test_the_yard_loses_at_most_one_must_need_in_fifty(lost: int, fits: bool) -> None:
    assert month(must_lost=lost, asked=200).fits is fits


@pytest.mark.parametrize(("lost", "fits"), [(5, True), (6, False)])
def test_the_yard_loses_at_most_one_other_need_in_twenty(lost: int, fits: bool) -> None:
    assert month(others_lost=lost, asked=100).fits is fits


def test_in_a_single_month_a_need_of_the_new_machine_and_two_of_the_yards_of_each_kind_are_forgiven() -> None:
    assert month(new=(3, 4), must_lost=2, others_lost=2, asked=10).fits
    assert not month(new=(2, 4)).fits
    assert not month(must_lost=3, asked=10).fits
    assert not month(others_lost=3, asked=10).fits
    assert not month(must_lost=1, asked=10).fits_strictly


def test_each_of_several_new_machines_counts_by_itself() -> None:
    both = MonthFit(1, (Readiness(100, 100, 0.0), Readiness(2, 4, 9.0)), *(Readiness(9, 9, 0.0),) * 4)
    assert not both.fits


def fit_of(*months: MonthFit) -> Fit:
    return Fit(("loader",), months, ())


def test_what_is_forgiven_month_by_month_is_not_forgiven_over_the_year() -> None:
    # A weekly machine that misses one week in four, every month.
    fit = fit_of(*(month(number, new=(3, 4)) for number in range(1, 13)))
    assert fit.months_that_fit == ()
    assert answer(fit) == "The loader does not fit."


def test_months_drop_out_from_the_worst_on_until_the_rest_fits_together() -> None:
    # 2 of 44 missed are within 1 in 20, 3 of 48 are not.
    missed = {3: 1, 7: 1, 12: 1}
    fit = fit_of(*(month(n, new=(4 - missed.get(n, 0), 4), others_lost=int(n == 12)) for n in range(1, 13)))
    assert set(range(1, 13)) - set(fit.months_that_fit) == {12}


def test_the_worst_month_is_the_one_in_which_most_goes_wrong() -> None:
    fit = fit_of(month(1, new=(20, 25)), month(2, new=(20, 25), must_lost=9), month(3))
    assert fit.worst.month == 2


# ---- from lived years --------------------------------------------------------------------------------


def test_years_are_compared_by_month_and_class() -> None:
    without = lived((1, "cart", "must", True), (1, "mower", "should", True), (2, "cart", "must", True))
    with_them = lived(
        (1, "cart", "must", False),
        (1, "mower", "should", True),
        (1, "hoe", "must", True),
        (2, "cart", "must", True),
        (2, "hoe", "must", False),
    )
    fit = judge_fit(without, with_them, ["hoe"])
    january, february = fit.months
    assert (january.must_lost, january.others_lost, january.newcomers_unready) == (1, 0, 0)
    assert (february.must_lost, february.others_lost, february.newcomers_unready) == (0, 0, 1)
    assert january.must_with == Readiness(0, 1, 50.0), "the new machine is none of the yard's own"
    assert fit.payers == (Payer("cart", 2, {1: 1}),)


def test_who_pays_most_is_named_first() -> None:
    before = [(1, name, "should", True) for name in ("cart", "mower", "trike") for _ in range(3)]
    lost = {"cart": 1, "mower": 3, "trike": 0}
    after = [(1, name, "should", turn >= lost[name]) for name in lost for turn in range(3)]
    fit = judge_fit(lived(*before), lived(*after), [])
    assert [(payer.machine, payer.lost) for payer in fit.payers] == [("mower", 3), ("cart", 1)]


# ---- in words ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("months", "said"),
    [
        ((3, 4, 5, 6, 7, 8, 9, 10), "from March to October"),
        ((5,), "in May"),
        ((5, 6), "in May and June"),
        ((11, 12, 1, 2), "from November to February"),
        ((2, 4, 5, 6), "in February and from April to June"),
        (tuple(range(1, 13)), "all year"),
    ],
)
def test_months_are_named_in_runs(months: tuple[int, ...], said: str) -> None:
    assert months_named(months) == said


def test_the_answer_is_one_sentence() -> None:
    assert answer(fit_of(month(1), month(2))) == "The loader fits."
    assert (
        answer(fit_of(month(1, new=(1, 9)), month(2), month(3))) == "The loader fits in February and March."
    )
    assert answer(Fit(("hoe", "loader"), (month(1),), ())) == "The hoe and loader fit."


def test_a_payer_is_told_by_month() -> None:
    assert payer_named(Payer("cart", 365, {1: 5, 12: 2})) == "7 of 365: 5 in January, 2 in December"
