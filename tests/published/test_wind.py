"""The pressure of wind, against figures printed elsewhere and against hand-worked ones."""

from __future__ import annotations

import pytest

from scheduler.checkup.roofwind import exposure_coefficient, velocity_pressure_pa
from scheduler.yard.figures import Exposure

M_PER_FT, M_S_PER_MPH, PA_PER_PSF = 0.3048, 0.44704, 47.88026

# ---- Kz: ASCE 7-16, Table 26.10-1, two figures printed; seen in calculation sheets, not in the standard itself.
# For exposure B up to 30 ft the 0.70 for parts of a building's skin.
PRINTED_KZ: list[tuple[Exposure, float, float]] = [
    ("B", 15.0, 0.70),
    ("B", 30.0, 0.70),
    ("C", 15.0, 0.85),
    ("C", 30.0, 0.98),
    ("D", 15.0, 1.03),
    ("D", 30.0, 1.16),
]


@pytest.mark.parametrize(("exposure", "height_ft", "kz"), PRINTED_KZ)
def test_exposure_and_height_weaken_the_wind_as_the_table_has_it(
    exposure: Exposure, height_ft: float, kz: float
) -> None:
    assert exposure_coefficient(exposure, height_ft * M_PER_FT) == pytest.approx(kz, abs=0.005)


def test_nothing_near_the_ground_is_reckoned_with_less_than_the_table_begins_with() -> None:
    assert exposure_coefficient("C", 0.5) == exposure_coefficient("C", 4.5)
    assert exposure_coefficient("B", 2.0) == exposure_coefficient("B", 9.0)


# ---- q at 115 mph in lb/ft2, Kzt 1, Kd 0.85; seen in a calculation sheet that takes Kz from the table.
PRINTED_PSF: list[tuple[Exposure, float, float]] = [
    ("B", 30.0, 20.14),
    ("C", 15.0, 24.46),
    ("C", 30.0, 28.20),
    ("D", 15.0, 29.64),
    ("D", 30.0, 33.38),
]


@pytest.mark.parametrize(("exposure", "height_ft", "psf"), PRINTED_PSF)
def test_115_miles_an_hour_press_as_printed(exposure: Exposure, height_ft: float, psf: float) -> None:
    """Within 0.6 percent: the table's Kz has two figures, and 0.613 and 0.00256 are rounded apart."""
    found_pa = velocity_pressure_pa(115.0 * M_S_PER_MPH, exposure, height_ft * M_PER_FT)
    assert found_pa / PA_PER_PSF == pytest.approx(psf, rel=0.006)


# ---- Uplift of a roof's field in kPa, exposure B: FM Global Property Loss Prevention Data Sheet 1-28, Table 3 in SI
# units (seen): p = 0.000613 Kz Kzt Kd V2 I (GCp - GCpi), -1.0 and 0.18. Its importance factor of 1.15 is from memory;
# all of its figures agree with it, and none would with 1.0.
FM_GUSTS_M_S = (38.0, 40.0, 45.0, 50.0, 55.0, 60.0, 65.0, 70.0, 75.0)
FM_KPA = {
    5.0: (0.7, 0.8, 1.0, 1.2, 1.5, 1.8, 2.1, 2.4, 2.8),
    10.0: (0.7, 0.8, 1.0, 1.3, 1.5, 1.8, 2.2, 2.5, 2.9),
    18.0: (0.9, 1.0, 1.2, 1.5, 1.8, 2.2, 2.5, 2.9, 3.4),
    20.0: (0.9, 1.0, 1.3, 1.6, 1.9, 2.2, 2.6, 3.0, 3.5),
}


@pytest.mark.parametrize("height_m", FM_KPA)
def test_an_insurers_table_of_uplift_is_met_within_its_rounding(height_m: float) -> None:
    found_kpa = [
        velocity_pressure_pa(gust_m_s, "B", height_m) * 1.18 * 1.15 / 1000.0 for gust_m_s in FM_GUSTS_M_S
    ]
    assert found_kpa == pytest.approx(FM_KPA[height_m], abs=0.055)


def test_a_pressure_worked_by_hand_is_met() -> None:
    """51 m/s over open country at 4.572 m: Kz = 2.01 (1/60)^(2/9.5) = 0.8488; 0.613 x 0.8488 x 0.85 x 2601 = 1150."""
    assert velocity_pressure_pa(51.0, "C", 4.572) == pytest.approx(1150.4, abs=0.5)
