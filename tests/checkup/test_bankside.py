"""The bank: days, nights, rates and filling, each worked out by hand beside it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.checkup.bankside import autonomy_days, check_bank, longest_night_h, stored_day_wh, usable_wh
from scheduler.checkup.findings import Finding, Grade, Part
from scheduler.checkup.siteyear import SiteYear
from scheduler.yard.models import Need, Yard
from tests.checkup.storeyard import figure, grave, load, machine, outlet, store_yard, year_of

#: 80 W always, with the inverter's 20 W idle 100 W on the bank's side.
LAMP = load("lamp", 80.0, 80.0, always_on=True)


def told(yard: Yard, words: str, year: SiteYear | None = None) -> list[Finding]:
    return [found for found in check_bank(yard, year).findings if words in found.title]


def sun_of(year: SiteYear) -> np.ndarray:
    return year.arrays[0].panels_w


# ---- days --------------------------------------------------------------------------------------------------


def test_autonomy_is_what_is_above_the_reserve_over_a_days_load() -> None:
    # 10 kWh down to 20 %: 8000 Wh. House: 100 W for 24 h; machine: 1600 Wh a day.
    cart = machine(800.0, needs=(Need(ready_by="07:00", energy_wh=1600.0),))
    report = check_bank(store_yard(house_loads=(LAMP,), machines=(cart,)), None)
    assert figure(report, "without sun, all of the yard") == (pytest.approx(2.0), None)
    assert figure(report, "without sun, the house alone") == (pytest.approx(8000.0 / 2400.0), None)


def test_what_a_dull_day_brings_lengthens_it_by_month() -> None:
    # 2400 Wh a day. January: 31 days of 50 W for 12 h, 600 Wh: 8000 / 1800 = 4.4 days. February brings 2400 Wh and
    # more, so that it never ends; in March every second day has no sun, and the dull tenth of days neither: 3.3 days.
    day_w = {0: 50.0, 1: 200.0, 2: 0.0}
    year = year_of(
        lambda day: day_w.get(_month(day), 3000.0) + (500.0 if _month(day) == 2 and day % 2 else 0.0)
    )
    (found,) = told(store_yard(house_loads=(LAMP,)), "without any", year)
    assert found.grade is Grade.NOTE
    assert "Jan 4.4, Feb no end, Mar 3.3, Apr no end" in found.meaning
    assert (found.found, found.limit) == (pytest.approx(8000.0 / 2400.0), 5.0)


def test_where_every_dull_day_is_enough_no_month_is_listed() -> None:
    (found,) = told(store_yard(house_loads=(LAMP,)), "without any", year_of(lambda day: 3000.0))
    assert "it carries the yard for as long as one likes, in every month" in found.meaning
    assert "no end" not in found.meaning


def _month(day: int) -> int:
    """0 for January, by days of the year from 0; good for the first four months."""
    return 0 if day < 31 else 1 if day < 59 else 2 if day < 90 else 3


def test_the_sun_of_such_days_pays_the_banks_losses() -> None:
    yard = store_yard(bank={"charge_efficiency_pct": 90.0, "discharge_efficiency_pct": 80.0})
    assert autonomy_days(yard, 2400.0, 1000.0) == pytest.approx(8000.0 / (2400.0 - 720.0))
    assert autonomy_days(yard, 720.0, 1000.0) == math.inf


def test_a_lead_acid_bank_carries_less_in_the_cold() -> None:
    # -1.1 C divides by 1.40.
    frosty = year_of(shed_c=lambda day: -1.1 if day == 20 else 26.7)
    kept = {"house_loads": (LAMP,)}
    days = {
        kind: figure(check_bank(store_yard(bank={"chemistry": kind}, **kept), frosty), "house alone")[0]
        for kind in ("lithium", "lead_acid")
    }
    assert days["lithium"] == pytest.approx(1.40 * days["lead_acid"])


def test_only_the_cold_months_carry_a_lead_acid_bank_less_far() -> None:
    # 8000 / 2400 Wh is 3.3 days without any sun; at -1.1 C 1.40 times less.
    dark = year_of(lambda _: 0.0, lambda day: -1.1 if day < 31 else 26.7)
    (found,) = told(store_yard(bank={"chemistry": "lead_acid"}, house_loads=(LAMP,)), "without any", dark)
    assert "Jan 2.4, Feb 3.3" in found.meaning


@settings(deadline=None, max_examples=60)
@given(st.floats(0.0, 20_000.0), st.floats(1.0, 20_000.0), st.floats(0.0, 20_000.0), st.floats(0.0, 95.0))
def test_more_sun_less_load_and_a_lower_reserve_never_shorten_it(
    sun_wh: float, load_wh: float, more_wh: float, reserve_pct: float
) -> None:
    yard = store_yard(bank={"reserve_pct": reserve_pct, "level_pct": 100.0})
    deeper = store_yard(bank={"reserve_pct": reserve_pct / 2.0, "level_pct": 100.0})
    days = autonomy_days(yard, load_wh, sun_wh)
    assert autonomy_days(yard, load_wh, sun_wh + more_wh) >= days
    assert autonomy_days(yard, load_wh + more_wh, sun_wh) <= days
    assert autonomy_days(deeper, load_wh, sun_wh) >= days


# ---- nights ------------------------------------------------------------------------------------------------


def test_the_longest_night_runs_over_the_end_of_the_year() -> None:
    year = year_of()
    assert longest_night_h(year) == 12
    year.sun_up[:8] = False
    year.sun_up[-8:] = False
    # Dark from 16:00 on the last day, and up to 8:00 on the first.
    assert longest_night_h(year) == 16


def test_where_the_sun_never_rises_the_night_is_the_year() -> None:
    year = year_of()
    year.sun_up[:] = False
    assert longest_night_h(year) == 8760


@pytest.mark.parametrize(("watts", "warnings"), [(80.0, 0), (81.0, 1)])
def test_a_night_longer_than_the_bank_lasts_is_a_warning_with_the_modules_that_it_asks(
    watts: float, warnings: int
) -> None:
    # 1500 Wh down to 20 %: 1200 Wh; 12 h of 80 + 20 W.
    yard = store_yard(
        bank={"modules_wh": (1500.0,)}, house_loads=(load("lamp", watts, watts, always_on=True),)
    )
    report = check_bank(yard, year_of(lambda _: 500.0))
    assert figure(report, "hours of darkness") == (pytest.approx(1200.0 / (watts + 20.0)), 12.0)
    found = grave(report)
    assert len(found) == warnings
    if found:
        assert "Modules of 1212 Wh above the reserve" in found[0].mend
        assert found[0].caution


def test_what_comes_out_of_the_bank_pays_its_losses_at_night() -> None:
    # 8000 Wh x 0.5, by 80 W / 0.8 and 20 W.
    yard = store_yard(
        bank={"discharge_efficiency_pct": 50.0}, inverter={"efficiency_pct": 80.0}, house_loads=(LAMP,)
    )
    assert figure(check_bank(yard, year_of()), "hours of darkness")[0] == pytest.approx(4000.0 / 120.0)


def test_a_yard_where_nothing_is_always_on_needs_no_night() -> None:
    yard = store_yard(inverter={"idle_w": 0.0}, house_loads=(load("pump", 100.0),))
    assert not [one for one in check_bank(yard, year_of()).figures if "darkness" in one.name]


# ---- rates -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("chemistry", "charge_max_w", "sun_w", "grades"),
    [
        ("lithium", None, 5000.0, []),
        ("lithium", None, 5001.0, [Grade.WARNING]),
        ("lithium", 5001.0, 9000.0, [Grade.NOTE]),
        ("lithium", 5000.0, 9000.0, []),
        ("lead_acid", None, 2000.0, []),
        ("lead_acid", None, 2001.0, [Grade.WARNING]),
    ],
)
def test_more_than_the_usual_rate_is_grave_where_nothing_limits_it(
    chemistry: str, charge_max_w: float | None, sun_w: float, grades: list[Grade]
) -> None:
    # 10 kWh: 0.5 C are 5000 W, 0.2 C 2000 W.
    yard = store_yard(bank={"chemistry": chemistry, "charge_max_w": charge_max_w})
    found = told(yard, "go into the bank", year_of(lambda _: sun_w))
    assert [one.grade for one in found] == grades
    assert all("common practice, no source" in one.source for one in found)


def test_without_a_year_the_panels_rated_watts_behind_their_input_count() -> None:
    arrays = ({"name": "roof", "panels": 10, "panel_w": 400.0, "tilt_deg": 20.0, "azimuth_deg": 180.0},)
    yard = store_yard(bank={"charge_max_w": None}, arrays=arrays)
    assert figure(check_bank(yard, None), "goes into the bank")[0] == 4000.0
    limited = store_yard(bank={"charge_max_w": None}, arrays=({**arrays[0], "input_limit_w": 2500.0},))
    assert figure(check_bank(limited, None), "goes into the bank")[0] == 2500.0


def test_sun_that_the_bank_does_not_take_is_told_from_a_hundredth_of_the_year_on() -> None:
    # 100 W run always; of 3000 W the bank takes 2800: 100 W of 3000 are lost, 365 x 12 h of them.
    kept = {"house_loads": (LAMP,)}
    (found,) = told(
        store_yard(bank={"charge_max_w": 2800.0}, **kept), "find no way", year_of(lambda _: 3000.0)
    )
    assert found.grade is Grade.NOTE
    assert found.found == pytest.approx(438.0)
    assert not told(
        store_yard(bank={"charge_max_w": 2871.0}, **kept), "find no way", year_of(lambda _: 3000.0)
    )


def test_a_charger_that_the_bank_can_not_feed_alone_is_a_warning() -> None:
    # 1200 W / 0.8 + 20 W: 1520 W; with 80 W more of a lamp 1620 W.
    kept: dict[str, Any] = {"inverter": {"efficiency_pct": 80.0}, "machines": (machine(1200.0),)}
    assert not grave(check_bank(store_yard(bank={"discharge_max_w": 1520.0}, **kept), None))
    (found,) = grave(check_bank(store_yard(bank={"discharge_max_w": 1519.0}, **kept), None))
    assert (found.about, found.grade) == ("cart", Grade.WARNING)
    assert found.found == pytest.approx(1520.0)
    lit = store_yard(bank={"discharge_max_w": 1619.0}, house_loads=(LAMP,), **kept)
    assert grave(check_bank(lit, None))[0].found == pytest.approx(1620.0)


def test_a_charger_on_the_banks_side_skips_the_inverter() -> None:
    yard = store_yard(
        bank={"discharge_max_w": 1219.0},
        inverter={"efficiency_pct": 80.0},
        outlets=(outlet("shelf", None, kind="dc"),),
        machines=(machine(1200.0, supply="dc"),),
    )
    assert grave(check_bank(yard, None))[0].found == pytest.approx(1220.0)


def test_everybody_at_once_over_the_bank_is_a_note_and_no_more_than_the_inverter_gives() -> None:
    # Four chargers of 1000 W, of which the inverter gives 3000, and a DC port's 500: 3520 W with its idle draw.
    yard = store_yard(
        bank={"discharge_max_w": 3500.0},
        outlets=(*(outlet(name) for name in "abcd"), outlet("shelf", None, kind="dc")),
        machines=(*(machine(1000.0, f"cart {n}") for n in range(4)), machine(500.0, "pump", supply="dc")),
    )
    report = check_bank(yard, None)
    assert figure(report, "ask of the bank") == (pytest.approx(3520.0), 3500.0)
    (found,) = report.findings
    assert found.grade is Grade.NOTE
    assert "discharge_max_w" in found.title


def test_without_a_limit_more_than_the_usual_rate_is_a_note() -> None:
    # 2000 W of lead-acid's 0.2 C; 2 x 1000 W and the idle draw.
    yard = store_yard(
        bank={"discharge_max_w": None, "charge_max_w": 2000.0, "chemistry": "lead_acid"},
        outlets=(outlet("a"), outlet("b")),
        machines=(machine(1000.0, "a"), machine(1000.0, "b")),
    )
    report = check_bank(yard, None)
    (found,) = report.findings
    assert found.grade is Grade.NOTE
    assert (found.found, found.limit) == (2020.0, 2000.0)
    assert "Lead-acid" in found.meaning
    assert "what the modules stand: discharge_max_w in [bank]" in report.unchecked


# ---- filling -----------------------------------------------------------------------------------------------


def test_days_to_fill_are_what_is_missing_over_what_a_mean_day_stores() -> None:
    # 12 h of 500 - 100 W go in, 12 h of 100 W come out: 3600 Wh a day; 8000 Wh are missing.
    yard, year = store_yard(house_loads=(LAMP,)), year_of(lambda _: 500.0)
    assert stored_day_wh(yard, year, sun_of(year), 6) == pytest.approx(3600.0)
    report = check_bank(yard, year)
    for month in ("June", "December"):
        assert figure(report, f"to full, {month}")[0] == pytest.approx(8000.0 / 3600.0)


def test_what_is_stored_pays_both_losses_and_goes_in_at_the_banks_pace() -> None:
    lossy = {"charge_efficiency_pct": 90.0, "discharge_efficiency_pct": 80.0, "charge_max_w": 300.0}
    yard, year = store_yard(bank=lossy, house_loads=(LAMP,)), year_of(lambda _: 500.0)
    # 12 h x 300 W x 0.9 in, 12 h x 100 W / 0.8 out.
    assert stored_day_wh(yard, year, sun_of(year), 6) == pytest.approx(3240.0 - 1500.0)


def test_loads_with_hours_are_spread_over_the_day() -> None:
    # 240 W for 2 h are 20 W all day: 12 h of 480 W in, 12 h of 40 W out (20 W idle).
    yard, year = store_yard(house_loads=(load("pump", 240.0, 240.0),)), year_of(lambda _: 520.0)
    assert stored_day_wh(yard, year, sun_of(year), 12) == pytest.approx(12 * 480.0 - 12 * 40.0)


@pytest.mark.parametrize(("sun_w", "warnings"), [(201.0, 0), (199.0, 1)])
def test_a_month_whose_sun_does_not_carry_the_house_is_a_warning(sun_w: float, warnings: int) -> None:
    # 100 W always: 200 W of sun for 12 h are just what a day takes; at 199 W 12 h x 99 W come and 12 h x 100 W go.
    year = year_of(lambda day: sun_w if day >= 334 else 3000.0)
    found = grave(check_bank(store_yard(house_loads=(LAMP,)), year))
    assert len(found) == warnings
    assert all("December" in one.title and "12 Wh more" in one.title for one in found)


# ---- all of it ---------------------------------------------------------------------------------------------


def test_without_weather_what_hangs_on_it_is_told_as_unchecked() -> None:
    report = check_bank(store_yard(house_loads=(LAMP,)), None)
    assert [text for text in report.unchecked if text.endswith("typical_year in [site]")]
    assert not report.findings


def test_missing_limits_of_the_bank_are_told_in_one_line() -> None:
    yard = store_yard(bank={"charge_max_w": None, "discharge_max_w": None})
    assert (
        "what the modules stand: charge_max_w and discharge_max_w in [bank]"
        in check_bank(yard, None).unchecked
    )


@settings(deadline=None, max_examples=15)
@given(
    st.floats(0.0, 100.0), st.floats(100.0, 50_000.0), st.floats(0.0, 6000.0), st.floats(-40.0, 50.0),
    st.sampled_from(["lithium", "lead_acid"]), st.booleans(),
)  # fmt: skip
def test_every_figure_of_any_bank_is_a_number_with_its_source(
    reserve_pct: float, bank_wh: float, sun_w: float, shed_c: float, chemistry: str, is_lit: bool
) -> None:
    bank = {"modules_wh": (bank_wh,), "reserve_pct": reserve_pct, "level_pct": 100.0, "chemistry": chemistry}
    yard = store_yard(bank=bank, house_loads=(LAMP,) if is_lit else ())
    report = check_bank(yard, year_of(lambda _: sun_w, lambda _: shed_c))
    for one in (*report.figures, *report.findings):
        assert one.part is Part.BANK
        assert one.source
        assert one.limit is None or math.isfinite(one.limit)
        assert math.isfinite(one.value if hasattr(one, "value") else one.found)
    assert usable_wh(yard) >= 0.0
