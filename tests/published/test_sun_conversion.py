"""From irradiance to watts, against the published handbooks."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.sun.arraypower import Air, cell_temp_c, dc_power_w
from scheduler.sun.skies import clouded_ghi_w_m2
from scheduler.yard.models import Array

# Dobos, PVWatts Version 5 Manual, NREL/TP-6A20-62641 (2014), table of default losses [%].
DEFAULT_LOSSES_PCT = {
    "soiling": 2.0,
    "shading": 3.0,
    "snow": 0.0,
    "mismatch": 2.0,
    "wiring": 2.0,
    "connections": 0.5,
    "light_induced": 1.5,
    "nameplate": 1.0,
    "age": 0.0,
    "availability": 3.0,
}


def array(losses_pct: float | dict[str, float] = 0.0, temp_coeff_pct_per_c: float = -0.4) -> Array:
    return Array(
        name="roof",
        panels=1,
        panel_w=100.0,
        tilt_deg=30.0,
        azimuth_deg=180.0,
        losses_pct=losses_pct,
        temp_coeff_pct_per_c=temp_coeff_pct_per_c,
    )


def test_the_default_losses_multiply_to_the_published_total():
    assert array(DEFAULT_LOSSES_PCT).loss_fraction == pytest.approx(0.140757, abs=1e-6)


def test_ageing_adds_to_the_losses_as_published():
    assert array(DEFAULT_LOSSES_PCT | {"age": 1.0}).loss_fraction == pytest.approx(0.14934904, abs=1e-8)


def test_losses_are_not_simply_added():
    assert sum(DEFAULT_LOSSES_PCT.values()) == pytest.approx(15.0)
    assert array(DEFAULT_LOSSES_PCT).loss_fraction < 0.15 - 0.009


def test_the_default_loss_is_the_published_total_rounded():
    assert Array(name="r", panels=1, panel_w=1.0, tilt_deg=0.0, azimuth_deg=0.0).loss_fraction == 0.1408


def test_power_follows_irradiance_and_cell_temperature_as_published():
    # Same manual, DC equation: 900 W/m2, cells at 30 C, 100 W rated, -0.3 %/K gives 88.65 W.
    power_w = dc_power_w(array(temp_coeff_pct_per_c=-0.3), np.array([900.0]), np.array([30.0]))
    assert power_w[0] == pytest.approx(88.65, abs=1e-9)


def test_losses_take_their_share_of_the_published_power():
    power_w = dc_power_w(array(DEFAULT_LOSSES_PCT, -0.3), np.array([900.0]), np.array([30.0]))
    assert power_w[0] == pytest.approx(88.65 * (1.0 - 0.140757), abs=1e-4)


# King, Boyson, Kratochvil, SAND2004-3535, Table 1, worked out for 900 W/m2, 20 C, 5 m/s; 800, 20, 1; 1000,
# 25, 1.
CELLS_C = {
    "open_rack": [40.291, 43.507, 54.384],  # glass, cell, polymer sheet
    "close_roof": [57.022, 59.565, 74.456],  # glass, cell, glass
    "insulated_back": [63.159, 66.022, 82.527],  # glass, cell, polymer sheet
}


@pytest.mark.parametrize("mounting", CELLS_C)
def test_cells_get_as_hot_as_the_mounting_makes_them(mounting):
    air = Air(temp_c=np.array([20.0, 20.0, 25.0]), wind_m_s=np.array([5.0, 1.0, 1.0]))
    cells_c = cell_temp_c(mounting, np.array([900.0, 800.0, 1000.0]), air)
    assert cells_c == pytest.approx(np.array(CELLS_C[mounting]), abs=1e-3)


def test_cloud_leaves_what_kasten_and_czeplak_say():
    # Kasten, Czeplak 1980: 1 - 0.75 (N / 8)^3.4 of the clear sky under N oktas; a quarter of it under full cover.
    oktas = np.array([0.0, 4.0, 6.0, 7.0, 8.0])
    left = clouded_ghi_w_m2(np.full(5, 800.0), oktas / 8.0)
    assert left == pytest.approx([800.0, 743.2, 574.4, 419.0, 200.0], abs=0.5)
