"""The AC side and the bank against published limits, source beside each check.

*Seen* and *from memory* as in DEVELOPERS.md.
"""

from __future__ import annotations

import pytest

from scheduler.checkup.acside import check_ac_side
from scheduler.checkup.bankcold import (
    CHARGE_FROM_C,
    LEAD_ACID_FROZEN_RATE_PER_H,
    LITHIUM_DISCHARGE_FROM_C,
    cold_factor,
)
from scheduler.checkup.bankside import check_bank
from scheduler.checkup.cords import BRANCH_DROP_PCT, TOTAL_DROP_PCT, check_cords, cord_ampacity_a
from scheduler.checkup.findings import Finding, Grade
from scheduler.checkup.outlets import check_outlets
from tests.checkup.storeyard import figure, load, machine, outlet, store_yard, year_of

# ---- B-15, B-17: NEC 210.19(A)(1), 210.20(A): a circuit of 125 % of what runs for 3 h and more (seen) ---------
# 12 A of 15 A and 40 A of 50 A are seen; the watts of each are worked out from the rule.


@pytest.mark.parametrize(
    ("breaker_a", "volts", "watts"),
    [
        (15.0, 120.0, 1440.0),
        (20.0, 120.0, 1920.0),
        (30.0, 120.0, 2880.0),
        (30.0, 240.0, 5760.0),
        (50.0, 240.0, 9600.0),
    ],
)
def test_a_charger_that_runs_for_3_hours_may_take_four_fifths_of_its_breaker(
    breaker_a: float, volts: float, watts: float
) -> None:
    def findings(charger_w: float) -> tuple[Finding, ...]:
        outlets = (outlet(breaker_a=breaker_a, volts=volts),)
        return check_outlets(
            store_yard(outlets=outlets, machines=(machine(charger_w, battery_wh=4.0 * charger_w),))
        ).findings

    assert not findings(watts)
    (found,) = findings(watts + 1.0)
    assert found.grade is Grade.WARNING
    assert found.limit == pytest.approx(watts, rel=1e-12)
    assert "NEC 210.19(A)(1), 210.20(A)" in found.source


def test_the_circuit_that_is_asked_for_carries_125_percent() -> None:
    # 1920 W at 120 V are 16 A; 125 % of them the 20 A that are made; 1921 W ask for 25 A.
    for charger_w, asked in ((1920.0, "20 A"), (1921.0, "25 A")):
        yard = store_yard(
            outlets=(outlet(max_w=2000.0, breaker_a=17.0),), machines=(machine(charger_w, battery_wh=8000.0),)
        )
        (found,) = check_outlets(yard).findings
        assert f"circuit of {asked}" in found.mend


# ---- B-16: NEC 625.41, 625.42: the charging of vehicles is a continuous load (seen) --------------------------


def test_a_shorter_charge_above_four_fifths_is_told_with_the_rule_for_vehicles() -> None:
    yard = store_yard(machines=(machine(1500.0, battery_wh=1500.0),))
    (found,) = check_outlets(yard).findings
    assert found.grade is Grade.NOTE
    assert "NEC 625.41, 625.42" in found.source


# ---- W-05: recommended most drop, NEC informational note to 210.19 (seen) ------------------------------------


def test_a_cord_may_lose_3_percent_and_all_wires_together_5() -> None:
    assert (BRANCH_DROP_PCT, TOTAL_DROP_PCT) == (3.0, 5.0)


def test_the_drop_of_the_course_example() -> None:
    # W-03: 16 AWG, 100 ft one way, 4 A, 24 V: 4.0 V, 16.7 % (a training course on Chapter 9 Table 8, seen).
    shelf = outlet("shelf", None, kind="dc", volts=24.0, cord_awg=16, cord_m=100.0 * 0.3048)
    report = check_cords(store_yard(outlets=(shelf,), machines=(machine(96.0, supply="dc"),)))
    assert figure(report, "volts lost")[0] == pytest.approx(16.63, abs=0.01)


# ---- NEC Table 400.5(A)(1), flexible cords with two conductors that carry current (from memory) --------------


@pytest.mark.parametrize(("gauge", "amperes"), [("18", 10), ("16", 13), ("14", 18), ("12", 25), ("10", 30)])
def test_flexible_cords_carry_what_the_table_says(gauge: str, amperes: float) -> None:
    assert cord_ampacity_a(gauge, None) == amperes


# ---- B-01, B-02: Battery University, BU-410, table 1 (seen) --------------------------------------------------


def test_banks_are_charged_from_the_published_temperatures_on() -> None:
    # Lithium-ion 0 C, discharged from -20 C; lead-acid -20 C, with 0.3 C or less below freezing.
    assert CHARGE_FROM_C == {"lithium": 0.0, "lead_acid": -20.0}
    assert LITHIUM_DISCHARGE_FROM_C == -20.0
    assert LEAD_ACID_FROZEN_RATE_PER_H == 0.3


@pytest.mark.parametrize(
    ("chemistry", "shed_c", "is_told"),
    [
        ("lithium", -0.1, True),
        ("lithium", 0.0, False),
        ("lead_acid", -20.1, True),
        ("lead_acid", -19.9, False),
    ],
)
def test_a_bank_colder_than_that_in_the_sun_is_told(chemistry: str, shed_c: float, is_told: bool) -> None:
    yard = store_yard(bank={"chemistry": chemistry})
    report = check_bank(yard, year_of(lambda _: 500.0, lambda day: shed_c if day == 0 else 15.0))
    found = [one for one in report.findings if "must not be charged" in one.title]
    assert len(found) == is_told
    assert all("BU-410" in one.source for one in found)


# ---- SZ-20: lead-acid in the cold, the table of IEEE 1013's simplified steps (seen, three reproductions) -----


@pytest.mark.parametrize(
    ("fahrenheit", "factor"),
    [(80, 1.00), (70, 1.04), (60, 1.11), (50, 1.19), (40, 1.30), (30, 1.40), (20, 1.59)],
)
def test_the_coldest_day_divides_a_lead_acid_bank_by_the_table(fahrenheit: float, factor: float) -> None:
    year = year_of(lambda _: 500.0, lambda day: (fahrenheit - 32.0) / 1.8 if day == 10 else 30.0)
    assert cold_factor(store_yard(bank={"chemistry": "lead_acid"}), year) == pytest.approx(factor, abs=0.005)
    assert cold_factor(store_yard(), year) == 1.0


# ---- SZ-09: G. M. Masters, Renewable and Efficient Electric Power Systems, off-grid cabin (from memory) ------


def test_the_cabins_battery_lasts_for_its_days() -> None:
    # 3000 Wh a day of AC by an inverter of 85 %, 4.6 days, depth 0.8; 871 Ah at 24 V less the 3 % for temperature and
    # rate, which this program does not count.
    lamp = load("cabin", 125.0, 125.0, always_on=True)
    bank = {"modules_wh": (871.0 * 24.0 * 0.97,), "reserve_pct": 20.0}
    yard = store_yard(bank=bank, inverter={"efficiency_pct": 85.0, "idle_w": 0.0}, house_loads=(lamp,))
    assert figure(check_bank(yard, None), "house alone")[0] == pytest.approx(4.6, abs=0.01)


# ---- R5 by hand: a set that is fine by watts and not by its start ------------------------------------------


def test_an_inverter_of_2000_w_and_4000_w_for_a_moment_with_a_compressor() -> None:
    # 1000 W of compressor and 900 W of charger are 1900 W; its start of 3200 W makes 4100 W of them.
    yard = store_yard(
        inverter={"continuous_w": 2000.0, "surge_w": 4000.0},
        machines=(machine(900.0),),
        house_loads=(load("compressor", 1000.0, 3200.0),),
    )
    (found,) = check_ac_side(yard, None).findings
    assert (found.grade, found.found, found.limit) == (Grade.WARNING, 4100.0, 4000.0)
