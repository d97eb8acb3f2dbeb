"""R10: what comes of the visits' actions when a hand follows them to the letter."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.planning.record import VisitPlan
from scheduler.planning.replay_hands import Followed, follow_actions
from scheduler.yard.models import Machine
from tests.planning.replay_samples import make_agenda, make_machine, make_need, make_yard, plug, visit

N_STEPS = 6


def follow(*visits: VisitPlan, machine: Machine | None = None, back: int | None = None) -> Followed:
    """Follow six steps with visits at 0, 2 and 4; with `back`, the first machine is away from step 1 on."""
    yard = make_yard(machine or make_machine(), make_machine("cart"))
    needs = {} if back is None else {"mower": [make_need(1, back=back)]}
    return follow_actions(yard, make_agenda(yard, N_STEPS, visits=(0, 2, 4), needs=needs), visits)


def places(followed: Followed, column: int = 0) -> str:
    """One letter a step: e or w in an outlet that is on, E or W in one that is off, - in none."""
    letters = []
    for outlet, on in zip(followed.outlet[column], followed.plugged[:, column], strict=True):
        letter = "-" if outlet is None else outlet[0]
        letters.append(letter if on or outlet is None else letter.upper())
    return "".join(letters)


def faults(followed: Followed) -> list[tuple[int, str]]:
    return [(fault.edge, fault.text) for fault in followed.faults]


def test_without_actions_nothing_changes() -> None:
    followed = follow(machine=make_machine(outlet="east"))
    assert (places(followed), places(followed, 1), faults(followed)) == ("eeeeee", "------", [])


def test_what_is_plugged_in_stays_until_it_is_unplugged() -> None:
    followed = follow(visit(0, [plug()]), visit(4, unplugs=[plug()]))
    assert (places(followed), faults(followed)) == ("eeee--", [])


def test_a_timer_runs_from_its_on_edge_to_its_off_edge() -> None:
    followed = follow(visit(0, [plug(outlet="west", timer=(1, 3))]))
    assert (places(followed), faults(followed)) == ("WwwWWW", [])


def test_a_timer_left_alone_is_on() -> None:
    assert places(follow(visit(2, [plug(outlet="west")]))) == "--wwww"


def test_a_timer_may_run_on_past_the_end_of_the_plan() -> None:
    followed = follow(visit(4, [plug(outlet="west", timer=(5, 9))]))
    assert (places(followed), faults(followed)) == ("----Ww", [])


def test_plugging_a_machine_in_where_it_is_sets_the_timer_anew() -> None:
    again = visit(2, [plug(outlet="west", timer=(4, 5))])
    followed = follow(visit(0, [plug(outlet="west", timer=(0, 1))]), again)
    assert (places(followed), faults(followed)) == ("wWWWwW", [])


def test_one_visit_can_move_a_machine_and_give_its_outlet_to_another() -> None:
    move = visit(2, [plug(outlet="west"), plug("cart")], [plug()])
    followed = follow(visit(0, [plug()]), move)
    assert (places(followed), places(followed, 1), faults(followed)) == ("eewwww", "--eeee", [])


def test_taking_a_machine_out_unplugs_it_and_bringing_it_back_plugs_nothing_in() -> None:
    followed = follow(machine=make_machine(outlet="east"), back=3)
    assert (places(followed), faults(followed)) == ("e-----", [])


def test_a_machine_that_goes_out_at_a_visit_may_be_unplugged_then_and_frees_its_outlet() -> None:
    yard = make_yard(make_machine(outlet="east"), make_machine("cart"))
    agenda = make_agenda(yard, N_STEPS, visits=(2,), needs={"mower": [make_need(2, back=4)]})
    for unplugs in ([], [plug()]):
        followed = follow_actions(yard, agenda, [visit(2, [plug("cart")], unplugs)])
        assert (places(followed), places(followed, 1), faults(followed)) == ("ee----", "--eeee", [])


def test_a_machine_back_at_a_visit_can_be_plugged_in_at_once() -> None:
    followed = follow(visit(2, [plug()]), back=2)
    assert (places(followed), faults(followed)) == ("--eeee", [])


@pytest.mark.parametrize(
    ("wrong", "text"),
    [
        (visit(3, [plug()]), "nobody stands there: it is no visit"),
        (visit(9, [plug()]), "nobody stands there: it is no visit"),
        (visit(2, unplugs=[plug()]), "mower cannot be unplugged: it is not in east"),
        (visit(2, [plug("barge")]), "barge cannot be plugged into east: there is no such machine"),
        (visit(2, [plug(outlet="north")]), "mower cannot be plugged into north: there is no such outlet"),
        (visit(2, [plug(timer=(2, 3))]), "mower cannot be plugged into east: that outlet has no timer"),
        (
            visit(2, [plug(outlet="west", timer=(3, 3))]),
            "mower cannot be plugged into west: its timer would go on at edge 3 and off at edge 3",
        ),
        (
            visit(2, [plug(outlet="west", timer=(1, 3))]),
            "mower cannot be plugged into west: its timer would go on at edge 1 and off at edge 3",
        ),
    ],
)
def test_an_action_that_no_hand_can_carry_out_is_a_fault_and_changes_nothing(
    wrong: VisitPlan, text: str
) -> None:
    followed = follow(wrong)
    assert (places(followed), faults(followed)) == ("------", [(wrong.edge, text)])


def test_a_taken_outlet_and_a_machine_elsewhere_are_faults() -> None:
    followed = follow(visit(0, [plug()]), visit(2, [plug("cart"), plug(outlet="west")]))
    assert (places(followed), places(followed, 1)) == ("eeeeee", "------")
    assert faults(followed) == [
        (2, "cart cannot be plugged into east: mower is in it"),
        (2, "mower cannot be plugged into west: it is still in east"),
    ]


def test_a_machine_is_not_pulled_from_an_outlet_in_which_it_is_not() -> None:
    followed = follow(visit(0, [plug()]), visit(2, unplugs=[plug(outlet="west")]))
    assert places(followed) == "eeeeee"
    assert faults(followed) == [(2, "mower cannot be unplugged: it is not in west")]


def test_a_machine_that_is_away_cannot_be_plugged_in() -> None:
    followed = follow(visit(2, [plug()]), back=3)
    assert faults(followed) == [(2, "mower cannot be plugged into east: it is away")]


def test_a_yard_without_machines_is_followed_too() -> None:
    yard = make_yard()
    followed = follow_actions(yard, make_agenda(yard, 2), [])
    assert followed.outlet == ()
    assert np.shape(followed.plugged) == (2, 0)
