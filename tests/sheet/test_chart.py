"""The chart: its figures, its letters and its bytes."""

from __future__ import annotations

from io import BytesIO
from xml.etree import ElementTree as ET

import matplotlib as mpl
import numpy as np
import pytest
from PIL import Image

from scheduler.sheet.chart import (
    SETTINGS,
    SUN_STYLES,
    USE_STYLES,
    build_figure,
    charge_curve,
    render_chart,
    uses_w,
)
from tests.sheet.page_samples import hostile_yard, moving_plan, moving_yard
from tests.sheet.sample import field_plan, field_yard


def test_the_uses_together_are_what_leaves_sun_and_bank():
    plan, yard = field_plan(), field_yard()
    taken_w = sum(uses_w(plan, yard).values())
    sun_w, level_wh = plan.suns.dull_w, plan.bank.level_wh["dull"]
    stored_w = np.diff(level_wh) / plan.grid.step_h
    # Where the bank gives, it gives what is taken beyond the sun, over its discharge efficiency (R3).
    gives = stored_w < -1e-9
    assert gives.sum() > 10
    np.testing.assert_allclose(
        -stored_w[gives] * yard.bank.discharge_efficiency, (taken_w - sun_w)[gives], rtol=1e-9
    )


def test_a_machine_on_the_dc_side_costs_the_inverter_nothing():
    plan, yard = field_plan(), field_yard()
    losses_w = uses_w(plan, yard)["inverter: idle and losses"]
    ac_w = sum(plan.grid.power_w(load.wall_wh) for load in plan.house_loads)
    for machine, known in zip(plan.machines, yard.machines, strict=True):
        ac_w = ac_w + (plan.grid.power_w(machine.wall_wh) if known.supply == "ac" else 0.0)
    expected_w = yard.inverter.idle_w + ac_w * (1 / yard.inverter.efficiency - 1)
    np.testing.assert_allclose(losses_w, expected_w)


def test_work_is_a_drop_at_its_own_time():
    machine = next(machine for machine in field_plan().machines if machine.name == "sprayer")
    edges, charge_wh = charge_curve(machine)
    need = machine.needs[0]
    before, after = charge_wh[edges == need.edge]
    assert before == need.have_wh
    assert after == pytest.approx(need.have_wh - 150.0)


def test_axes_have_units():
    figure = build_figure(field_plan(), field_yard())
    labels = [axes.get_ylabel() for axes in figure.axes[:2]]
    assert labels[0].startswith("power [W]")
    assert labels[1] == "bank [% of 10.2 kWh]"


def test_lines_and_shades_are_told_apart_without_colour():
    lines = [(style["linestyle"], style["color"]) for style in SUN_STYLES.values()]
    assert len(set(lines)) == 3
    fills = {(style["facecolor"], style["hatch"]) for style in USE_STYLES.values()}
    assert len(fills) == 3
    red, green, blue = (
        Image.open(BytesIO(render_chart(field_plan(), field_yard(), "png"))).convert("RGB").split()
    )
    assert red.tobytes() == green.tobytes() == blue.tobytes()


@pytest.mark.parametrize(
    "names", [("W" * 150, "Ж" * 90), ("日" * 30, "$a_1$ \\frac"), ()], ids=["wide", "markup", "none"]
)
def test_every_letter_stays_on_the_paper(names):
    yard = moving_yard(names, ("A $b$", "B"), "S $x^2$ " * 12)
    plan = moving_plan(yard) if names else field_plan(site=yard.site.name, machines=())
    with mpl.rc_context(SETTINGS):
        figure = build_figure(plan, yard)
        figure.canvas.draw()
        width, height = figure.canvas.get_width_height()
        texts = [text for text in figure.findobj(mpl.text.Text) if text.get_text() and text.get_visible()]
        assert len(texts) > 20
        for text in texts:
            box = text.get_window_extent(figure.canvas.get_renderer())
            assert box.x0 >= 0, text
            assert box.y0 >= 0, text
            assert box.x1 <= width, text
            assert box.y1 <= height, text


def test_every_machine_has_a_row_with_its_name_as_it_is_written():
    yard = hostile_yard()
    figure = build_figure(moving_plan(yard), yard)
    rows = figure.axes[2:]
    assert len(rows) == len(yard.machines)
    label = rows[0].texts[0]
    assert "".join(label.get_text().split()) == "".join(yard.machines[0].name.split())
    assert label.get_parse_math() is False


@pytest.mark.parametrize("fmt", ["png", "svg"])
def test_the_same_plan_gives_the_same_bytes(fmt):
    assert render_chart(field_plan(), field_yard(), fmt) == render_chart(field_plan(), field_yard(), fmt)


def test_the_svg_is_whole_and_carries_no_date():
    data = render_chart(field_plan(), field_yard(), "svg")
    assert ET.fromstring(data).tag.endswith("svg")
    assert b"<dc:date>" not in data
