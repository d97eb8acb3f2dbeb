import datetime as dt
import math
from dataclasses import replace

import pytest

from scheduler.planning.record import Because, NeedPlan, VisitPlan
from scheduler.sheet import words
from scheduler.timegrid import Grid, moment_on_clock
from tests.sheet import sample

ZONE = sample.field_yard().site.zone


def grid_from(day: dt.date, hour: int, hours: float, step_minutes: int = 30) -> Grid:
    return Grid(moment_on_clock(day, hour * 60, ZONE), step_minutes, round(hours * 60 / step_minutes), ZONE)


WEDNESDAY = grid_from(dt.date(2027, 6, 9), 7, 36)


def test_the_weekday_is_said_only_when_the_day_changes():
    assert words.time_seen_from(WEDNESDAY, 10, 0) == "12:00"
    assert words.time_seen_from(WEDNESDAY, 34, 0) == "Thu 00:00"
    assert words.time_seen_from(WEDNESDAY, 35, 34) == "00:30"
    assert words.day_and_time(WEDNESDAY, 0) == "Wed 07:00"
    assert words.date_and_time(WEDNESDAY, 0) == "Wed 9 Jun 07:00"
    assert words.moment(dt.datetime(2027, 6, 9, 11, 3, tzinfo=dt.UTC), WEDNESDAY) == "Wed 9 Jun 2027 07:03"


def test_a_plan_in_which_weekdays_come_again_says_the_date():
    week = grid_from(dt.date(2027, 6, 9), 7, 7 * 24, 60)
    assert words.day_and_time(week, 0) == "Wed 9 Jun 07:00"


def test_no_two_edges_of_the_autumn_night_read_the_same():
    night = grid_from(dt.date(2027, 11, 6), 22, 12)
    told = [words.day_and_time(night, edge) for edge in range(night.n_steps + 1)]
    assert len(set(told)) == len(told)
    assert told[6:10] == ["Sun 01:00 (1st)", "Sun 01:30 (1st)", "Sun 01:00 (2nd)", "Sun 01:30 (2nd)"]
    assert told[5] == "Sun 00:30"
    assert told[10] == "Sun 02:00"


def test_the_spring_night_has_no_doubled_times():
    night = grid_from(dt.date(2027, 3, 13), 22, 8)
    assert [words.time(night, edge) for edge in (7, 8, 9)] == ["01:30", "03:00", "03:30"]


@pytest.mark.parametrize(
    ("energy_wh", "nearest", "up", "down"),
    [
        (0.0, "0 Wh", "0 Wh", "0 Wh"),
        (0.002, "0 Wh", "1 Wh", "0 Wh"),
        (83.6, "84 Wh", "84 Wh", "83 Wh"),
        (99.6, "100 Wh", "100 Wh", "99 Wh"),
        (844.0, "840 Wh", "850 Wh", "840 Wh"),
        (996.0, "1.0 kWh", "1.0 kWh", "990 Wh"),
        (1100.0, "1.1 kWh", "1.1 kWh", "1.1 kWh"),
        (1100.0000001, "1.1 kWh", "1.1 kWh", "1.1 kWh"),
        (1101.0, "1.1 kWh", "1.2 kWh", "1.1 kWh"),
        (99_960.0, "100 kWh", "100 kWh", "99.9 kWh"),
        (123_400.0, "123 kWh", "124 kWh", "123 kWh"),
        (-1120.0, "-1.1 kWh", "-1.1 kWh", "-1.2 kWh"),
    ],
)
def test_energies_are_rounded_to_the_side_asked_for(energy_wh, nearest, up, down):
    assert words.energy(energy_wh) == nearest
    assert words.energy(energy_wh, math.ceil) == up
    assert words.energy(energy_wh, math.floor) == down


def test_an_unmet_need_never_shows_the_same_figure_twice():
    for short in (0.002, 0.5, 3.0, 40.0):
        need = NeedPlan(4, 1200.0, 1200.0 - short, False, "should")
        held, needed = words.holds_of_needed(need).split(" of ")
        assert held != needed
    assert words.holds_of_needed(NeedPlan(4, 1204.0, 899.0, False, "should")) == "890 Wh of 1.3 kWh"


def test_the_bank_is_expected_on_the_safe_side():
    visit = VisitPlan(4, (), (), {"dull": 48.9, "likely": 55.0, "bright": 70.1})
    assert words.bank_expected(visit) == "48 to 71 %"
    same = VisitPlan(4, (), (), {"dull": 48.0 - 1e-9, "likely": 48.0, "bright": 48.0 + 1e-9})
    assert words.bank_expected(same) == "48 %"


def test_actions_read_as_one_says_them():
    assert words.plug_in("sprayer", "A") == "plug in sprayer at outlet A"
    assert words.unplug("sprayer", "Left outlet") == "unplug sprayer from Left outlet"
    assert words.set_timer(WEDNESDAY, 22, (30, 38)) == "set its timer: on 22:00, off Thu 02:00"
    assert words.set_timer(WEDNESDAY, 22, (38, 40)) == "set its timer: on Thu 02:00, off 03:00"
    assert words.set_timer(WEDNESDAY, 22, None) == "set its timer to stay on"


def test_lists_and_counts_and_sentences():
    assert [words.listed(list("abc"[:n])) for n in range(4)] == ["", "a", "a and b", "a, b and c"]
    assert (words.counted(1, "machine"), words.counted(2, "machine")) == ("1 machine", "2 machines")
    assert words.sentence("the dull sun. ") == "The dull sun."
    assert words.sentence("") == ""


def test_what_would_help_turns_nothing_round():
    assert (
        words.would_help("a visit at 15:00", "0.6 kWh more") == "a visit at 15:00 or 0.6 kWh more would help"
    )
    assert words.would_help("nothing: the charger is too slow") == "nothing would help"


def test_all_ready_is_said_with_the_lowest_bank():
    assert words.headline(sample.ready_plan()) == (
        "Both machines will be ready, and the bank keeps 73 % at the least under the dull sun."
    )


def test_one_unready_machine_is_named_with_reason_and_help():
    assert words.headline(sample.autumn_plan()) == (
        "1 of 2 machines ready; sprayer will be short by 75 Wh at Sun 07:00: "
        "the dull-sun reserve binds from Wed 04:00; a visit at 15:00 would help."
    )


def test_a_machine_with_one_need_of_two_met_is_not_ready():
    headline = words.headline(sample.field_plan())
    assert headline.startswith(
        "5 of 7 machines ready each time (6 of 8 needs met); two-wheel tractor will be short"
    )
    assert "sprayer short by 84 Wh at Thu 07:00" in headline


def test_the_worst_two_are_named_and_the_rest_counted():
    headline = words.headline(sample.crowded_plan())
    assert headline.startswith("3 of 20 machines ready; ")
    assert "15 more not ready" in headline
    assert headline.count("short by") == 2


def test_a_must_that_fails_comes_first_even_if_it_lacks_less():
    plan = sample.autumn_plan()
    sprayer, cart = plan.machines
    must = replace(
        cart.needs[0],
        ready=False,
        have_wh=cart.needs[0].need_wh - 20.0,
        because=Because("R7", "the charger is too slow"),
    )
    headline = words.headline(replace(plan, machines=(sprayer, replace(cart, needs=(must,)))))
    assert headline.startswith(
        "Yard cart must be ready but will be short by 20 Wh at Sun 08:00 and sprayer short by"
    )
    assert "yard cart: the charger is too slow" in headline
    assert headline.endswith("0 of 2 machines ready.")


def test_a_house_that_breaks_the_reserve_is_the_first_sentence():
    headline = words.headline(sample.dark_plan())
    assert headline.startswith(
        "The house alone takes the bank below its reserve of 25 % under the dull sun, "
        "from Wed 13:30 to the end of the plan, down to 16 %. 2 of 7 machines"
    )


def test_several_spells_below_the_reserve_are_each_given_their_times():
    plan = sample.ready_plan()
    allowed = plan.bank.allowed_wh.copy()
    allowed[[5, 6, 7, 20]] = 0.2 * plan.bank.capacity_wh
    told = words.house_breaks_reserve(replace(plan, bank=replace(plan.bank, allowed_wh=allowed)))
    assert "from Tue 20:30 to 21:30 and at Wed 04:00, down to 20 %" in told


def test_a_bank_read_below_its_reserve_is_not_laid_at_the_houses_door():
    plan = sample.ready_plan()
    allowed = plan.bank.allowed_wh.copy()
    allowed[:4] = 0.2 * plan.bank.capacity_wh
    told = words.house_breaks_reserve(replace(plan, bank=replace(plan.bank, allowed_wh=allowed)))
    assert told == (
        "the bank begins below its reserve of 25 % and the house alone leaves it there under the dull sun, "
        "from Tue 18:00 to 19:30, down to 20 %"
    )


def test_float_noise_in_the_reserve_is_no_breach():
    plan = sample.ready_plan()
    bank = replace(plan.bank, allowed_wh=plan.bank.allowed_wh - 1e-6)
    assert words.house_breaks_reserve(replace(plan, bank=bank)) == ""


def test_a_plan_without_needs_says_so():
    plan = sample.ready_plan()
    idle = tuple(replace(machine, needs=()) for machine in plan.machines)
    assert words.headline(replace(plan, machines=idle)) == "No machine is needed in this plan."


def test_a_need_without_a_known_reason_is_still_told():
    plan = sample.autumn_plan()
    sprayer, cart = plan.machines
    bare = replace(sprayer.needs[0], because=None, would_help=())
    headline = words.headline(replace(plan, machines=(replace(sprayer, needs=(bare,)), cart)))
    assert headline == "1 of 2 machines ready; sprayer will be short by 75 Wh at Sun 07:00."


@pytest.mark.parametrize(
    ("text", "told"), [("the cart is ready", "The cart is ready."), ("done. ", "Done."), ("is it?", "Is it?"), ("", "")]
)
def test_a_sentence_ends_in_one_full_stop_and_a_question_in_its_mark(text: str, told: str) -> None:
    assert words.sentence(text) == told
