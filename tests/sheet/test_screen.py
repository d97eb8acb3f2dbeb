import datetime as dt
import io
import re
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest
from rich.cells import cell_len
from rich.console import Console

from scheduler.planning.record import Aim, AimStatus, ReplayReport, Violation
from scheduler.sheet import screenstrip, words
from scheduler.sheet.screen import render_plan
from scheduler.sheet.screenstrip import choose_columns, hour_row
from scheduler.timegrid import Grid
from tests.sheet import sample

SAMPLES = {
    "field": (sample.field_yard, sample.field_plan),
    "ready": (sample.ready_yard, sample.ready_plan),
    "autumn": (sample.ready_yard, sample.autumn_plan),
    "dark": (sample.dark_yard, sample.dark_plan),
    "crowded": (sample.crowded_yard, sample.crowded_plan),
}


def screen(plan, yard, width: int = 80, **console) -> str:
    out = io.StringIO()
    Console(file=out, width=width, **console).print(render_plan(plan, yard, width))
    return out.getvalue()


def flat(text: str) -> str:
    return " ".join(text.split())


def row(text: str, label: str) -> str:
    line = next(line for line in text.splitlines() if line.startswith(label))
    return line[len(label) :].strip()


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("name", SAMPLES)
def test_no_line_is_wider_than_the_console_and_nothing_is_cut(name, width):
    yard, plan = (make() for make in SAMPLES[name])
    text = screen(plan, yard, width)
    assert max(cell_len(line) for line in text.splitlines()) <= width
    assert "…" not in text


@pytest.mark.parametrize("name", [name for name in SAMPLES if name != "crowded"])
def test_everything_but_names_is_plain_ascii(name):
    yard, plan = (make() for make in SAMPLES[name])
    assert screen(plan, yard).isascii()


def test_a_plan_of_eight_machines_fits_one_screen():
    assert len(screen(sample.field_plan(), sample.field_yard(), 80).splitlines()) <= 64
    assert len(screen(sample.field_plan(), sample.field_yard(), 100).splitlines()) <= 60


def test_prose_stays_readable_on_a_wide_console():
    text = screen(sample.field_plan(), sample.field_yard(), 200)
    assert max(cell_len(line.rstrip()) for line in text.splitlines()) <= 100


def test_piped_and_without_colour_there_are_no_escapes_and_with_colour_the_same_words():
    plan, yard = sample.field_plan(), sample.field_yard()
    plain = screen(plan, yard)
    coloured = screen(plan, yard, force_terminal=True, color_system="truecolor")
    assert "\x1b" not in plain
    assert "\x1b[" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == plain


def test_the_first_words_are_the_headline():
    for yard, plan in ((make_yard(), make_plan()) for make_yard, make_plan in SAMPLES.values()):
        if plan.site == "Sweetgum Lane store" and len(plan.machines) < 20:
            assert flat(screen(plan, yard)).startswith(words.headline(plan))


def test_sections_come_in_their_order():
    text = screen(sample.field_plan(), sample.field_yard(), 60)
    titles = [
        "VISITS",
        "WHO IS PLUGGED IN",
        "NOT READY",
        "ENERGY",
        "NEEDS MET",
        "All 4 aims",
        "Replayed",
        "Charge on",
    ]
    places = [text.index(title) for title in titles]
    assert places == sorted(places)


def test_visits_say_what_to_do_where_and_what_the_bank_should_show():
    text = flat(screen(sample.field_plan(), sample.field_yard(), 120))
    assert "Tue 18:00 78 % plug in sprayer at outlet A, cargo bike at D and push mower at B" in text
    assert "plug in yard cart at outlet C; set its timer: on 22:00, off Wed 03:00" in text
    assert "Wed 07:00 44 to 52 % unplug sprayer from outlet A, push mower from B and yard cart from C" in text


def test_if_lines_stand_alone_with_their_figure():
    text = flat(screen(sample.field_plan(), sample.field_yard(), 120))
    assert "if the bank shows 71 % or more, plug in two-wheel tractor at outlet A" in text
    assert "if the bank shows less than 38 %, unplug seed drill from outlet A" in text
    assert (
        "if it was added at 12:30, unplug two-wheel tractor from outlet A unplug seed drill from outlet A"
        in text
    )


def test_the_first_line_of_a_visit_is_never_joined_to_a_conditional_one():
    # The conditional line is the visit's first; plain ones of the same kind follow it.
    text = flat(screen(sample.field_plan(), sample.field_yard(), 200))
    assert "added at 12:30, unplug two-wheel tractor from outlet A," not in text


def test_the_strip_shows_charging_idle_away_and_due():
    text = screen(sample.field_plan(), sample.field_yard())
    # From 18:00, hour by hour: charging, full until 07:00, due, out for three hours, idle to the end, short.
    assert row(text, "sprayer  ") == "#####========R//.....................X"
    assert row(text, "yard cart  ") == "----#####----.R///..................."
    assert row(text, "visit  ") == "v            v    v     v"
    assert row(text, "hour  ").startswith("18 21 00 03")
    for meaning in (
        "# charging",
        "= plugged in, draws nothing",
        "- timer off",
        "/ away",
        "X due and NOT ready",
    ):
        assert meaning in text


def test_the_bank_rows_are_the_lowest_level_of_each_column_rounded_down():
    plan = sample.field_plan()
    text = screen(plan, sample.field_yard())
    for sun in ("dull", "likely"):
        pct = 100 * plan.bank.level_wh[sun] / plan.bank.capacity_wh
        digits = row(text, f"bank, {sun}")
        assert len(digits) == plan.grid.n_steps // 2 + 1
        for column, digit in enumerate(digits):
            lowest = min(pct[2 * column : 2 * column + 2])
            shown = 100 if digit == "F" else 10 * int(digit)
            assert shown <= lowest + 1e-6 < shown + 10


@pytest.mark.parametrize(("step_minutes", "hours", "room", "minutes"), [
    (60, 37, 60, 60), (30, 24, 60, 30), (30, 37, 60, 60), (15, 48, 60, 60), (15, 12, 60, 15),
    (60, 48, 44, 120), (60, 96, 60, 120), (30, 37, 100, 60),
])  # fmt: skip
def test_columns_are_as_short_as_the_room_allows(step_minutes, hours, room, minutes):
    grid = replace(sample.ready_plan().grid, step_minutes=step_minutes, n_steps=hours * 60 // step_minutes)
    columns = screenstrip.choose_columns(grid, room)
    assert columns.minutes == minutes
    assert columns.count <= min(room - 1, 48)


def test_a_charge_in_one_step_of_a_merged_column_is_seen():
    plan = sample.field_plan()
    machine = plan.machines[0]
    columns = screenstrip.Columns(plan.grid, 4)
    marks = screenstrip.machine_row(machine, [False] * plan.grid.n_steps, columns)
    assert marks.startswith("###")


def test_of_two_needs_in_one_column_the_unmet_one_shows():
    plan = sample.field_plan()
    met, unmet = plan.machines[0].needs
    columns = screenstrip.Columns(plan.grid, 2)
    for first, second in ((met, unmet), (unmet, met)):
        machine = replace(plan.machines[0], needs=(replace(first, edge=70), replace(second, edge=71)))
        assert screenstrip.machine_row(machine, [False] * plan.grid.n_steps, columns)[35] == "X"


def test_the_end_has_a_column_of_its_own_even_where_the_last_column_is_short():
    columns = screenstrip.Columns(replace(sample.ready_plan().grid, n_steps=5), 2)
    assert [columns.column_of(edge) for edge in range(6)] == [0, 0, 1, 1, 2, 3]


def test_only_marks_that_occur_are_explained():
    text = screen(sample.ready_plan(), sample.ready_yard())
    assert "R due and ready" in text
    assert "away" not in text[: text.index("ENERGY")]


def test_the_day_is_named_where_it_begins_with_its_date_where_there_is_room():
    text = screen(sample.field_plan(), sample.field_yard())
    days = next(line for line in text.splitlines() if line.strip().startswith("Tue   "))
    assert days.split() == ["Tue", "Wed", "9", "Jun", "Thu"]


def test_an_hour_that_the_clock_shows_twice_is_labelled_once():
    grid = replace(sample.autumn_plan().grid, step_minutes=15, n_steps=48)
    labels = screenstrip.hour_row(screenstrip.Columns(grid, 1))
    assert labels.split().count("01") == 1
    assert labels.index("02") - labels.index("01") == 8


def test_the_lowest_levels_are_named_rounded_down():
    text = flat(screen(sample.field_plan(), sample.field_yard()))
    assert "bank lowest: dull 43 % at Wed 08:00, likely 47 % at Wed 06:00; reserve 25 %" in text


def test_the_autumn_night_has_one_column_more_and_no_label_twice():
    text = screen(sample.autumn_plan(), sample.ready_yard())
    hours = row(text, "hour  ")
    assert hours.startswith("18  20  22  00    02")
    assert "on Sun 01:30 (1st), off 01:30 (2nd)" in flat(text)


def test_hostile_names_are_shown_as_written_and_obey_nothing():
    text = screen(sample.crowded_plan(), sample.crowded_yard(), 120)
    for name in ("[m1]", "#{}", '"', "[bold red]mower[/]", "[/]"):
        assert row(text, f"{name}  ")[0] in "#.", name
    assert "\x1b" not in text
    assert "plug in [m1] at outlet A" in flat(text)
    assert "turned [U+200E]round" in text
    assert "no[U+200B]width" in text


def test_labels_line_up_in_cells_whatever_the_letters():
    text = screen(sample.crowded_plan(), sample.crowded_yard())
    rows = [line for line in text.splitlines() if re.search(r"[#.]{10}", line)]
    assert len(rows) == 20
    assert len({cell_len(re.split(r"(?<= )[#.]{8}", line)[0]) for line in rows}) == 1


@pytest.mark.parametrize("cells", [8, 12, 20])
def test_short_labels_are_unique_and_fit(cells):
    names = [*sample.HOSTILE_NAMES, "日本の草刈機と日本の草刈機と日本の車"]
    labels = screenstrip.short_labels(names, cells)
    assert len(set(labels)) == len(names)
    assert max(cell_len(label) for label in labels) <= cells


def test_labels_keep_numbers_whole():
    names = [f"wheelbarrow with a motor, number {number}" for number in range(1, 11)]
    assert screenstrip.short_labels(names, 16)[-3:] == [
        "wheelbarrow...8",
        "wheelbarrow...9",
        "wheelbarrow...10",
    ]


def test_unseen_letters_of_a_label_are_shown_by_their_code():
    assert screenstrip.short_labels(["a\u202eb"], 20) == ["a[U+202E]b"]


def test_names_alike_in_both_ends_are_numbered():
    names = ["a" * 20 + middle + "b" * 20 for middle in "xyz"]
    labels = screenstrip.short_labels(names, 12)
    assert len(set(labels)) == 3
    assert max(map(len, labels)) <= 12


def test_each_unmet_need_is_told_with_rule_and_help():
    text = flat(screen(sample.field_plan(), sample.field_yard()))
    assert "two-wheel tractor (should), Thu 07:00: needs 4.2 kWh, 2.8 kWh short" in text
    assert "sprayer (should), Thu 07:00: needs 150 Wh, 84 Wh short" in text
    assert f"R4: {sample.BECAUSE.text}. A visit at 15:00 or 0.6 kWh more in the bank would help." in text


def test_the_same_reason_is_said_once():
    text = flat(screen(sample.crowded_plan(), sample.crowded_yard()))
    assert text[text.index("NOT READY") :].count("R4: the dull-sun reserve") == 1


def test_a_plan_that_gets_everybody_ready_has_no_such_section():
    assert "NOT READY\n" not in screen(sample.ready_plan(), sample.ready_yard())


def test_the_printed_budget_adds_up_but_for_rounding():
    text = screen(sample.field_plan(), sample.field_yard(), 60)
    table = text[text.index("ENERGY") : text.index("NEEDS MET")]
    rows = {
        line[:18].strip(): [float(figure) for figure in line[18:].split()]
        for line in table.splitlines()[1:]
        if line.strip()
    }
    assert "-0.00" not in table
    for column in (0, 1):
        out = sum(figures[column] for label, figures in rows.items() if label.startswith(("-", "=")))
        assert rows["sun"][column] == pytest.approx(out, abs=0.005 * len(rows))


def test_this_plan_stands_beside_the_rules_of_thumb():
    text = screen(sample.field_plan(), sample.field_yard(), 60)
    assert row(text, "this plan").split() == ["1/1", "4/6", "1/1"]
    assert row(text, "earliest deadline first").split() == ["1/1", "1/6", "1/1"]


def test_a_plan_not_proven_says_so_before_the_visits_and_tells_the_gaps():
    aims = (
        Aim("must needs met", 1.0, AimStatus.PROVEN, 0.0, 0.2),
        Aim("shortfall", 640.0, AimStatus.GAP, 0.004, 9.0),
        Aim("energy left", 5.0, AimStatus.TIME_LIMIT, None, 10.0),
    )
    made_by = "the best plan found in the time allowed"
    text = flat(screen(sample.field_plan(aims=aims, made_by=made_by), sample.field_yard(), 72))
    warning = "There may be a better plan: this is the best plan found in the time allowed."
    assert text.index(warning) < text.index("VISITS")
    assert "1 of 3 aims proven best in 19.2 s; not proven: shortfall (within 0.4 % of the best)" in text
    assert "energy left (time ran out)" in text


def test_a_plan_made_without_a_solver_says_so_first():
    plan = sample.field_plan(aims=(), made_by="a careful rule of thumb: no solver answered")
    text = flat(screen(plan, sample.field_yard()))
    warning = "There may be a better plan: this is a careful rule of thumb: no solver answered."
    assert text.index(warning) < text.index("VISITS")


def test_a_plan_proven_the_ordinary_way_carries_no_warning():
    assert "better plan" not in screen(sample.field_plan(), sample.field_yard())


@pytest.mark.parametrize(
    ("report", "told"),
    [
        (None, "NOT replayed: do not follow this plan."),
        (
            ReplayReport((Violation("R4", 3, 9.0, "x"),), 9.0),
            "The replay found 1 violation: DO NOT follow this plan.",
        ),
        (ReplayReport((), 7.4), "Replayed minute by minute: no rule broken, the curves agree within 8 Wh."),
        (ReplayReport((), 1e-9), "Replayed minute by minute: no rule broken, the curves agree within 1 Wh."),
    ],
)
def test_the_replays_verdict_is_told(report, told):
    assert told in flat(screen(sample.field_plan(replay=report), sample.field_yard(), 72))


def test_notes_and_cautions_close_the_screen():
    plan = sample.field_plan(notes=("the visit at 07:05 is planned for 07:00, the nearest quarter hour",))
    text = flat(screen(plan, sample.field_yard()))
    assert (
        "Note: The visit at 07:05 is planned for 07:00, the nearest quarter hour. Charge on what cannot burn"
        in text
    )


def test_a_plan_without_visits_says_that_nothing_changes():
    text = flat(screen(sample.ready_plan(visits=()), sample.ready_yard()))
    assert "Nobody comes by in this plan: no plug is changed." in text


def test_hours_that_begin_at_half_past_have_their_labels_and_no_labels_is_no_fault():
    grid = Grid(dt.datetime(2027, 6, 8, 11, 30, tzinfo=dt.UTC), 60, 12, ZoneInfo("America/New_York"))
    assert hour_row(choose_columns(grid, 60)).split() == ["09", "12", "15", "18"]
    short = Grid(dt.datetime(2027, 6, 8, 11, 30, tzinfo=dt.UTC), 60, 1, ZoneInfo("America/New_York"))
    assert hour_row(choose_columns(short, 60)).strip() == ""
