"""A changed figure is all that changes in a fleet file's text, and the diff of it is one that patch takes."""

from __future__ import annotations

import pytest
import tomli
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.yard.fleetedit import FleetText, unified_diff
from scheduler.yard.linemap import build_line_map
from tests.yard.patching import patched


def test_a_value_has_its_place_however_it_is_written() -> None:
    text = 'a.b = [ # two\n 1.5, # x = 2 ]\n {c = "}", d = 1e3}\n]\n[e] # f\n"g.h" = """\n]"""\n'
    places = build_line_map(text)
    found = {path: tomli.loads(f"x = {text[begin:end]}")["x"] for path, (begin, end) in places.values.items()}
    assert found == {
        ("a", "b"): [1.5, {"c": "}", "d": 1000.0}],
        ("a", "b", 0): 1.5,
        ("a", "b", 1): {"c": "}", "d": 1000.0},
        ("a", "b", 1, "c"): "}",
        ("a", "b", 1, "d"): 1000.0,
        ("e", "g.h"): "]",
    }
    assert text[places.headings["e",] :].startswith("[e]")


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("[t]\nk = 1 # one\nl = 2\n", "[t]\nk = 9 # one\nl = 2\n"),
        ("[t]\nk = [ # list\n 1,\n]\n", "[t]\nk = 9\n"),
        ("[t] # no k\n[u]\nk = 1\n", "[t] # no k\nk = 9\n[u]\nk = 1\n"),
        ("[t]", "[t]\nk = 9"),
        ("t = { l = 2 }\n", "t = { k = 9, l = 2 }\n"),
        ("t = {}\n", "t = { k = 9 }\n"),
        ("t = { l = 2, k = 1}\n", "t = { l = 2, k = 9}\n"),
        ("[t]\r\nl = 2\r\n", "[t]\r\nk = 9\r\nl = 2\r\n"),
    ],
)
def test_a_key_is_changed_or_put_into_its_table(before: str, after: str) -> None:
    file = FleetText(before)
    assert file.changed(file.set_value(("t",), "k", "9")) == after


@pytest.mark.parametrize("text", ["t.l = 2\n", "[t]\nk.a = 1\n", "[t]\n[t.k]\na = 1\n"])
def test_where_a_key_has_no_safe_place_there_is_no_edit(text: str) -> None:
    assert FleetText(text).set_value(("t",), "k", "9") == ()


def test_items_of_a_list_keep_what_is_said_beside_them() -> None:
    file = FleetText("[t]\nk = [\n  10, # left\n  1_0, # right\n]\n")
    edits = file.set_items(("t", "k"), ["7", "8"])
    assert file.changed(edits) == "[t]\nk = [\n  7, # left\n  8, # right\n]\n"


@pytest.mark.parametrize("text", ["t = [{k = 1}]\n", "t = []\n", "[[t]]\nk = 1", "[[t]]\nk = 1\n", "[u]\r\n"])
def test_a_table_is_added_to_its_list_whatever_the_list_looks_like(text: str) -> None:
    file = FleetText(text)
    changed = file.changed(file.add_table("t", (("k", "9"), ("l", '"x"'))))
    rows = tomli.loads(text).get("t", [])
    assert sorted(map(str, tomli.loads(changed)["t"])) == sorted(map(str, [*rows, {"k": 9, "l": "x"}]))
    assert "\r\n" not in text or "\n" not in changed.replace("\r\n", "")


lines = st.lists(st.sampled_from(["a", "b = 1", "", "\u2028x", "c\x0b", "\t# d"]), max_size=12)
ends = st.sampled_from(["\n", "\r\n"])


@settings(deadline=None)
@given(before=lines, after=lines, end=ends, is_ended=st.booleans())
def test_any_diff_makes_the_one_text_of_the_other(
    tmp_path_factory: pytest.TempPathFactory, before: list[str], after: list[str], end: str, is_ended: bool
) -> None:
    old, new = (end.join(("first", *some, "last")) + end * is_ended for some in (before, after))
    diff = unified_diff(old, new, "my yard.toml")
    assert (diff == "") == (old == new)
    if diff:
        assert patched(tmp_path_factory.mktemp("patched"), old, diff, "my yard.toml") == new
