"""The cable between bank and inverter and its fuse, worked out by hand beside each case."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.checkup.bankcable import (
    BANK_CAUTION,
    allowed_fuse_a,
    check_bank_cable,
    drawn_a,
    fuse_between_a,
    lowest_v,
    next_fuse_a,
)
from scheduler.checkup.cables import Size
from scheduler.checkup.findings import Finding, Grade, PartReport
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Yard
from tests.checkup.storeyard import figure, grave, store_yard

ROOT = Path(__file__).parents[2]

#: 3000 W / (0.8 x 25 V) = 150 A, x 1.25 = 187.5 A; 4/0 AWG may carry 230 A.
GOOD: dict[str, Any] = {
    "nominal_v": 28.0,
    "lowest_v": 25.0,
    "cable_awg": "4/0",
    "cable_m": 2.0,
    "fuse_a": 200.0,
    "fuse_breaks_a": 20_000.0,
    "short_circuit_a": 8_000.0,
}


def cabled(watts: float = 3000.0, **bank: Any) -> Yard:
    kept = {key: value for key, value in (GOOD | bank).items() if value is not None}
    return store_yard(bank=kept, inverter={"continuous_w": watts, "surge_w": None, "efficiency_pct": 80.0})


def checked(watts: float = 3000.0, **bank: Any) -> PartReport:
    return check_bank_cable(cabled(watts, **bank))


def only(report: PartReport) -> Finding:
    (found,) = report.findings
    return found


# ---- amperes, volts and watts ------------------------------------------------------------------------------


def test_every_figure_by_hand() -> None:
    report = checked()
    assert figure(report, "inverter draws at 25 V") == (pytest.approx(150.0), None)
    assert figure(report, "cable must carry") == (pytest.approx(187.5), 230.0)
    assert figure(report, "fuse") == (200.0, 250.0)
    # 0.0608 ohm per 1000 ft of 4/0 AWG, 4 m there and back, 150 A: 0.1197 of 25 V, times 150 A.
    assert figure(report, "voltage drop") == (pytest.approx(0.0608 / 304.8 * 4.0 * 150.0 / 25.0 * 100.0), 3.0)
    assert figure(report, "lost in the cable")[0] == pytest.approx(0.0608 / 304.8 * 4.0 * 150.0**2)
    assert report.unchecked == ()


def test_without_the_lowest_volts_seven_eighths_of_the_nominal_are_taken_and_told() -> None:
    # 24 V: 21 V, 3000 / (0.8 x 21) = 178.6 A.
    yard = cabled(nominal_v=24.0, lowest_v=None)
    assert lowest_v(yard.bank) == pytest.approx(21.0)
    assert drawn_a(yard) == pytest.approx(178.57, abs=0.01)
    sources = {one.name: one.source for one in check_bank_cable(yard).figures}
    assert "87.5 % of nominal_v: common practice, no source" in sources["amperes that the inverter draws at 21 V"]
    told = next(one.source for one in checked().figures if "draws" in one.name)
    assert "lowest_v in the fleet file" in told


def test_the_lowest_volts_alone_are_enough() -> None:
    assert checked(nominal_v=None).unchecked == ()


@given(st.floats(100.0, 20_000.0), st.floats(8.0, 60.0), st.floats(1.0, 3.0))
def test_more_volts_or_fewer_watts_never_draw_more(watts: float, volts: float, times: float) -> None:
    amperes = drawn_a(cabled(watts, nominal_v=None, lowest_v=volts))
    higher = drawn_a(cabled(watts, nominal_v=None, lowest_v=volts * times))
    assert amperes is not None
    assert higher == pytest.approx(amperes / times)
    assert amperes * volts * 0.8 == pytest.approx(watts)


# ---- the cable ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("watts", "stops"), [(3680.0, 0), (3681.0, 1)])
def test_a_cable_carries_a_quarter_more_than_the_inverter_draws_or_is_a_stop(watts: float, stops: int) -> None:
    # 3680 W / (0.8 x 25 V) x 1.25 = 230 A.
    found = grave(checked(watts, fuse_a=250.0))
    assert [one.grade for one in found] == [Grade.STOP] * stops
    for one in found:
        assert (one.found, one.limit, one.unit) == (pytest.approx(230.06, abs=0.01), 230.0, "A")
        assert "4/0 AWG copper may carry 230 A; the inverter's 3681 W draw 184.1 A at 25 V" in one.title
        # 230 / 1.25 x 0.8 x 25 = 3680.
        assert "an inverter of at most 3680 W" in one.mend
        assert one.caution == BANK_CAUTION


def test_the_mend_names_the_thinnest_cable_that_carries_the_fuse_too() -> None:
    # 187.5 A: 3/0 AWG carries 200 A, and a fuse of 200 A is made; 2/0 carries 175 A.
    found = only(checked(cable_awg="4"))
    assert found.mend.startswith("3/0 AWG copper is the thinnest that does, with a fuse or breaker of 200 A, made for")
    assert "close to the bank" in found.mend
    # 95 mm2 are 187,488 circular mils: 200 A of 3/0 (167,800) and 230 A of 4/0 (211,600) between them make 213.5 A.
    found = only(checked(cable_awg=None, cable_mm2=16.0, cable_m=1.0))
    assert found.mend.startswith("95 mm2 copper")
    assert "16 mm2 copper may carry 71.8 A" in found.title


def test_where_no_cable_is_thick_enough_more_volts_are_advised() -> None:
    found = only(checked(9000.0))
    assert found.mend == (
        "No size known here is thick enough: a bank of more volts, or a shorter way, or an inverter of at most 3680 W."
    )


@pytest.mark.parametrize(("fuse_a", "words"), [(200.0, "does not melt first"), (80.0, "melts first")])
def test_a_thin_cable_is_one_mistake_whatever_its_fuse(fuse_a: float, words: str) -> None:
    # 4 AWG may carry 85 A.
    found = only(checked(cable_awg="4", fuse_a=fuse_a))
    assert found.grade is Grade.STOP
    assert f"The fuse of {fuse_a:g} A {words}." in found.meaning
    assert "110.14(C)" in found.meaning
    assert "fuse of" not in only(checked(cable_awg="4", fuse_a=None)).meaning


@pytest.mark.parametrize(("cable_m", "warnings"), [(12.5, 0), (12.6, 1)])
def test_more_than_3_percent_of_the_volts_is_a_warning(cable_m: float, warnings: int) -> None:
    # 0.75 V = 2 x 150 A x L x 0.0608 / 304.8 ohm/m: L = 12.53 m.
    found = grave(checked(cable_m=cable_m))
    assert [one.grade for one in found] == [Grade.WARNING] * warnings
    for one in found:
        assert "no more than 12.5 m of this one" in one.mend
        assert "The cable turns 113 W into heat" in one.meaning


# ---- the fuse ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fuse_a", "grades"),
    [
        (187.4, [Grade.WARNING]),
        (187.5, []),
        (230.0, []),
        (230.1, [Grade.NOTE]),
        (250.0, [Grade.NOTE]),
        (250.1, [Grade.STOP]),
    ],
)
def test_a_fuse_lies_between_what_the_inverter_asks_and_what_the_cable_stands(
    fuse_a: float, grades: list[Grade]
) -> None:
    found = [one for one in checked(fuse_a=fuse_a).findings if "fuse of" in one.title]
    assert [one.grade for one in found] == grades
    assert all(one.caution == BANK_CAUTION for one in found)
    for one in found:
        if one.grade is Grade.NOTE:
            assert "240.4(B)" in one.meaning
            assert one.mend.startswith("Nothing needs mending")
        else:
            assert one.mend == "Another fuse or breaker made for direct current: 200 A."


def test_a_fuse_too_large_for_its_cable_needs_no_volts_to_be_found() -> None:
    found = only(checked(nominal_v=None, lowest_v=None, fuse_a=300.0))
    assert (found.grade, found.found, found.limit) == (Grade.STOP, 300.0, 230.0)
    assert "no less than 1.25 times what the inverter draws, no more than 230 A" in found.mend


def test_a_fuse_too_small_for_the_inverter_needs_no_cable_to_be_found() -> None:
    found = only(checked(cable_awg=None, fuse_a=150.0))
    assert (found.grade, found.found, found.limit) == (Grade.WARNING, 150.0, 187.5)
    assert found.mend.endswith("200 A, if the cable may carry it.")


def test_a_fuse_that_is_told_to_be_missing_is_a_warning_and_one_that_is_not_told_is_not() -> None:
    found = only(checked(fuse_a=0.0, fuse_breaks_a=None))
    assert found.grade is Grade.WARNING
    assert found.title == "There is no fuse between bank and inverter"
    assert found.mend == "A fuse or breaker made for direct current, close to the bank: 200 A."
    assert checked(fuse_a=0.0, fuse_breaks_a=None).unchecked == ()
    assert grave(checked(fuse_a=None)) == []
    assert checked(fuse_a=None).unchecked == ("the fuse between bank and inverter: fuse_a in [bank]",)


@pytest.mark.parametrize(("fuse_breaks_a", "stops"), [(8000.0, 0), (7999.0, 1)])
def test_a_fuse_that_cannot_break_the_banks_short_circuit_is_a_stop(fuse_breaks_a: float, stops: int) -> None:
    found = grave(checked(fuse_breaks_a=fuse_breaks_a))
    assert [one.grade for one in found] == [Grade.STOP] * stops
    for one in found:
        assert (one.found, one.limit) == (8000.0, 7999.0)
        assert "NEC 110.9" in one.source


@pytest.mark.parametrize(("current_a", "fuse_a"), [(15.0, 15.0), (15.1, 20.0), (187.5, 200.0), (400.0, 400.0)])
def test_fuses_are_made_in_sizes(current_a: float, fuse_a: float) -> None:
    assert next_fuse_a(current_a) == fuse_a
    assert next_fuse_a(400.1) is None


def test_a_cable_allows_the_next_size_above_what_it_carries_and_none_above_its_own() -> None:
    assert allowed_fuse_a(Size("2", None)) == 125.0  # carries 115 A
    assert allowed_fuse_a(Size("2/0", None)) == 175.0  # carries 175 A, which is made
    assert fuse_between_a(120.0, Size("2", None)) == 125.0
    assert fuse_between_a(126.0, Size("2", None)) is None
    assert fuse_between_a(126.0, None) == 150.0


# ---- what is told ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("left_out", "cable", "fuse"),
    [
        (("cable_m",), "cable_m", None),
        (("nominal_v", "lowest_v"), "nominal_v", "nominal_v"),
        (("cable_awg",), "cable_awg or cable_mm2", "cable_awg or cable_mm2"),
        (("short_circuit_a",), None, "short_circuit_a"),
        (
            tuple(GOOD),
            "nominal_v, cable_awg or cable_mm2, cable_m",
            "nominal_v, cable_awg or cable_mm2, fuse_a, fuse_breaks_a, short_circuit_a",
        ),
    ],
)
def test_keys_that_are_missing_are_named(left_out: tuple[str, ...], cable: str | None, fuse: str | None) -> None:
    report = checked(**dict.fromkeys(left_out))
    wanted = (
        *([f"the cable between bank and inverter: {cable} in [bank]"] if cable else []),
        *([f"the fuse between bank and inverter: {fuse} in [bank]"] if fuse else []),
    )
    assert report.unchecked == wanted
    assert grave(report) == []


def test_a_yard_without_any_of_the_keys_has_no_figures_here() -> None:
    report = checked(**dict.fromkeys(GOOD))
    assert (report.figures, report.findings) == ((), ())


def test_where_nothing_is_wrong_the_caution_stands_all_the_same() -> None:
    found = only(checked())
    assert (found.grade, found.caution, found.limit) == (Grade.NOTE, BANK_CAUTION, 230.0)
    assert found.mend.startswith("Nothing needs mending. 3/0 AWG copper is the thinnest")
    unsized = only(checked(cable_awg=None))
    assert (unsized.grade, unsized.found, unsized.limit) == (Grade.NOTE, 187.5, 150.0)
    assert unsized.mend.startswith("3/0 AWG copper is the thinnest")


@settings(deadline=None)
@given(
    st.floats(300.0, 6000.0),
    st.sampled_from([12.8, 24.0, 51.2]),
    st.sampled_from([{"cable_awg": "10"}, {"cable_awg": None, "cable_mm2": 6.0}]),
    st.floats(0.3, 8.0),
)
def test_what_the_mend_names_mends_it(watts: float, volts: float, size: dict[str, Any], cable_m: float) -> None:
    bank: dict[str, Any] = size | {"nominal_v": volts, "lowest_v": None, "cable_m": cable_m, "fuse_a": None}
    for found in grave(checked(watts, **bank)):
        named = re.match(r"(\S+) (AWG|mm2) copper is the thinnest .* of (\d+) A, made", found.mend)
        if named is None:
            assert found.mend.startswith("No size known here")
            continue
        mended = {"cable_awg": named[1]} if named[2] == "AWG" else {"cable_mm2": float(named[1])}
        fused = bank | mended | {"fuse_a": float(named[3])}
        assert [one.title for one in grave(checked(watts, **fused))] == []
        assert [one.grade for one in checked(watts, **fused).findings] == [Grade.NOTE]


def test_the_figures_that_the_starter_shows_suit_each_other(tmp_path: Path) -> None:
    text = (ROOT / "fleets" / "starter.toml").read_text(encoding="utf-8")
    before, bank, after = re.split(r"(?s)(?=\n\[bank\])|(?=\n# -+ the inverter)", text)
    path = tmp_path / "shown.toml"
    for left_out in ("cable_awg", "cable_mm2"):
        shown = re.sub(rf"(?m)^#((?!{left_out})(?:nominal|lowest|cable|fuse|short)\w* = )", r"\1", bank)
        path.write_text(before + shown + after, encoding="utf-8")
        yard = read_yard(path)
        assert len(GOOD.keys() & yard.bank.model_fields_set) >= 6
        report = check_bank_cable(yard)
        assert [one.grade for one in report.findings] == [Grade.NOTE]
        assert report.unchecked == ()


def test_the_demo_has_a_cable_and_a_fuse_that_suit_it() -> None:
    report = check_bank_cable(read_yard(ROOT / "fleets" / "field-edge.toml"))
    assert [one.grade for one in report.findings] == [Grade.NOTE]
    assert report.unchecked == ()
    # 3000 W / (0.91 x 44.8 V) x 1.25, on 2 AWG.
    assert figure(report, "cable must carry") == (pytest.approx(91.98, abs=0.01), 115.0)
