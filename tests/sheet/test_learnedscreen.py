"""What was learned, on a screen."""

from __future__ import annotations

from rich.console import Console

from scheduler.logbook.learned import Figure, Learned
from scheduler.logbook.proposal import Proposal
from scheduler.logbook.sureness import Unsure
from scheduler.sheet.learnedscreen import headline, render_changes, render_learned

LONG = "+losses_pct = { dirt = 3, mismatch = 2, wiring = 2, connections = 0.5, ageing = 4, rating = 1, else = 10 }"
WEAK = Figure("array", "", 4050.0, 3200.0, 3000.0, 3400.0)
SOUND = Figure("charger", "mower", 480.0, 470.0, 450.0, 490.0)


def drawn(learned: Learned) -> str:
    console = Console(width=80, highlight=False)
    with console.capture() as capture:
        console.print(render_learned(learned, (), 80))
    return capture.get()


def test_the_headline_names_what_is_otherwise_and_nothing_else() -> None:
    told = headline(Learned((WEAK, SOUND), 28.0, 84))
    assert "the array at full sun" in told
    assert "mower" not in told


def test_a_changed_line_stays_one_line() -> None:
    assert LONG in render_changes(Proposal(f"--- a\n{LONG}\n")).splitlines()
    assert "Nothing to change" in render_changes(Proposal(""))


def test_each_figure_has_its_interval() -> None:
    told = drawn(Learned((WEAK, SOUND), 28.0, 84))
    assert "3000 to 3400" in told
    assert "450 to 490" in told


def test_what_is_not_sure_yet_is_told_with_what_to_read() -> None:
    lacking = Unsure(0.08, 40.0, ("the sky at each visit",))
    told = drawn(Learned((SOUND,), 28.0, 84, lacking))
    assert "may be off by 8 %" in told
    assert "some 6 weeks more" in told.replace("\n", " ")
    assert "- the sky at each visit" in told
    assert "Not sure" not in drawn(Learned((SOUND,), 28.0, 84))
    assert "half a year and more" in drawn(Learned((SOUND,), 28.0, 84, Unsure(0.2, 400.0, ()))).replace("\n", " ")


def test_a_bank_that_was_mostly_empty_is_told() -> None:
    assert "nearly empty" in drawn(Learned((SOUND,), 28.0, 84, is_starved=True))
