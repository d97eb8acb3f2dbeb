"""Who breaks a rule is found out; the list of ways to break them stays true."""

from __future__ import annotations

from collections import Counter

import pytest

from tests.benchmarks.broken_rules import is_expected, read_edits, try_edits


def test_every_rule_is_broken_in_at_least_four_ways_on_either_side() -> None:
    ways = Counter((edit.rule, edit.side) for edit in read_edits())
    for rule in (f"R{number}" for number in range(3, 13)):
        assert ways[rule, "model"] >= 4
        assert ways[rule, "replay"] >= 4


def test_no_two_edits_are_the_same() -> None:
    edits = [(edit.file, edit.old, edit.new) for edit in read_edits()]
    assert len(set(edits)) == len(edits)


@pytest.mark.deep
def test_whoever_breaks_a_rule_is_found_out() -> None:
    edits = read_edits()
    wrong = [
        f"{edit.rule}, {edit.side}, {edit.what}: {verdict.caught_by or 'nobody noticed'}"
        for edit, verdict in zip(edits, try_edits(edits), strict=True)
        if not is_expected(edit, verdict)
    ]
    assert wrong == []
