"""The reader of fleet files: what it reads, and that it tells every mistake at once and in plain words."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
import tomli
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.errors import FleetFileError
from scheduler.yard.figures import Record
from scheduler.yard.fleetfile import MOST_BYTES, MOST_PROBLEMS, read_yard
from scheduler.yard.linemap import build_line_map
from scheduler.yard.mistakes import EXAMPLES, HEADINGS
from scheduler.yard.models import Yard
from tests.strategies import fleet_text, yards

BAD = sorted(Path(__file__).with_name("bad").glob("*.toml"))
FLEETS = Path(__file__).parents[2] / "fleets"
DEMO = (FLEETS / "field-edge.toml").read_text(encoding="utf-8")

#: Words of the libraries beneath, which say nothing to somebody with a fleet file.
JARGON = re.compile(
    r"Input should|validation|pydantic|type=|Traceback|Error|dict|tuple|literal|extra_|value_error|None\b"
    r"|\bstr\b|\bint\b|\bfloat\b|\bbool\b|\(number\)|\(named\)"
)


def problems_of(path: Path) -> list[str]:
    with pytest.raises(FleetFileError) as caught:
        read_yard(path)
    assert caught.value.exit_code == 3
    assert caught.value.path == path
    return list(caught.value.problems)


def problems_in(text: str | bytes, folder: Path) -> list[str]:
    path = folder / "yard.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return problems_of(path)


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_every_mistake_is_told_at_once_with_its_line(path: Path) -> None:
    expected = path.with_suffix(".txt").read_text(encoding="utf-8").splitlines()
    assert problems_of(path) == expected


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_no_message_speaks_the_language_of_a_library(path: Path) -> None:
    told = path.with_suffix(".txt").read_text(encoding="utf-8")
    assert not JARGON.search(told.replace("C:\\", ""))


def test_the_demo_reads_with_its_machines_one_by_one() -> None:
    yard = read_yard(FLEETS / "field-edge.toml")
    names = [machine.name for machine in yard.machines]
    assert names[-2:] == ["pruner 1", "pruner 2"]
    assert all(machine.count == 1 for machine in yard.machines)
    assert len(yard.machines) == 8
    pruners = yard.machines[-2:]
    assert pruners[0].needs == pruners[1].needs


def test_the_demo_has_all_that_a_demonstration_should_show() -> None:
    yard = read_yard(FLEETS / "field-edge.toml")
    assert min(machine.capacity_wh for machine in yard.machines) == 200
    assert max(machine.capacity_wh for machine in yard.machines) == 7000
    needs = [need for machine in yard.machines for need in machine.needs]
    for key in ("charge_pct", "energy_wh", "hours", "distance_km", "distance_miles"):
        assert any(getattr(need, key) is not None for need in needs), key
    assert {machine.priority for machine in yard.machines} == {"must", "should", "could"}
    assert any(machine.outlet for machine in yard.machines)
    assert {outlet.kind for outlet in yard.outlets} == {"ac", "dc"}
    assert len(yard.arrays) == 2
    assert any(load.hours_per_day for load in yard.house_loads)


@settings(max_examples=60, deadline=None)
@given(yards())
def test_a_yard_written_as_a_file_reads_back_the_same(
    tmp_path_factory: pytest.TempPathFactory, yard: Yard
) -> None:
    path = tmp_path_factory.mktemp("yard") / "yard.toml"
    path.write_text(fleet_text(yard), encoding="utf-8")
    assert read_yard(path) == yard


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_windows_line_ends_and_a_byte_order_mark_change_nothing(
    tmp_path: Path, newline: str, mark: bytes
) -> None:
    path = tmp_path / "yard.toml"
    path.write_bytes(mark + DEMO.replace("\n", newline).encode())
    assert read_yard(path) == read_yard(FLEETS / "field-edge.toml")
    broken = DEMO.replace("charger_w = 480", "chargr_w = 480")
    told = problems_in(mark + broken.replace("\n", newline).encode(), tmp_path)
    line = DEMO.split("\n").index("charger_w = 480") + 1
    assert f'line {line}: machine "orchard mower": chargr_w: unknown key, found 480' in "\n".join(told)


def _key_lines(text: str) -> list[tuple[int, str, str]]:
    """Every line of the demo that sets a key: its number, the key, the value."""
    found = []
    for number, line in enumerate(text.split("\n")):
        match = re.fullmatch(r"(\w+) = (.+)", line)
        if match:
            found.append((number, match[1], match[2]))
    return found


@pytest.mark.parametrize(("number", "key"), [(number, key) for number, key, _ in _key_lines(DEMO)])
def test_a_misspelt_key_is_told_with_its_line_and_the_nearest_key(
    number: int, key: str, tmp_path: Path
) -> None:
    lines = DEMO.split("\n")
    misspelt = key[:2] + key[3:] if len(key) > 3 else f"{key}s"
    lines[number] = lines[number].replace(key, misspelt, 1)
    told = problems_in("\n".join(lines), tmp_path)
    mine = [problem for problem in told if problem.startswith(f"line {number + 1}: ")]
    assert len(mine) == 1
    assert f": {misspelt}: unknown key, found " in mine[0]
    assert mine[0].endswith(f'did you mean "{key}"?')


def _required_lines() -> list[tuple[int, str]]:
    table: type[Record] = Yard
    headings = {heading: model for model, heading in HEADINGS.items()}
    required = []
    for number, line in enumerate(DEMO.split("\n")):
        table = headings.get(line, table)
        key = line.split(" = ")[0]
        if key in table.model_fields and table.model_fields[key].is_required():
            required.append((number, key))
    return required


@pytest.mark.parametrize(("number", "key"), _required_lines())
def test_a_missing_key_is_told_at_the_heading_of_its_table(number: int, key: str, tmp_path: Path) -> None:
    lines = DEMO.split("\n")
    heading = max(above for above in range(number) if lines[above].startswith("["))
    lines[number] = ""
    told = problems_in("\n".join(lines), tmp_path)
    place = f"line {heading + 1}: "
    assert [
        problem for problem in told if problem.startswith(place) and f": {key}: missing; wanted " in problem
    ]


def test_each_key_without_a_default_has_a_line_to_write() -> None:
    for model in HEADINGS:
        for key, field in model.model_fields.items():
            if field.is_required():
                for example in EXAMPLES[key].split(" or "):
                    assert tomli.loads(example).keys() == {key}


@pytest.mark.parametrize("heading", ["[site]", "[bank]", "[inverter]", "[visits]"])
def test_a_missing_table_is_told_with_what_it_needs(heading: str, tmp_path: Path) -> None:
    text = re.sub(rf"^{re.escape(heading)}\n(?:[^\[\n].*\n)*", "", DEMO, flags=re.MULTILINE)
    assert heading not in text
    (problem,) = problems_in(text, tmp_path)
    assert problem.startswith(f"{heading[1:-1]}: missing; wanted a table {heading} with ")


def test_a_mistake_in_one_need_hides_neither_its_machine_nor_its_neighbours(tmp_path: Path) -> None:
    text = DEMO.replace("draw_w = 720", "draw_w = 0").replace(
        'name = "orchard mower"\nbattery_wh = 2500', 'name = "orchard mower"\nbattery_v = 48'
    )
    text = text.replace("energy_wh = 150", "energy_wh = 1500").replace(
        '"bench left"\nkind', '"bench lef"\nkind'
    )
    told = "\n".join(problems_in(text, tmp_path))
    assert '"orchard mower", need 1: draw_w: wanted more than 0 watts, found 0' in told
    assert '"orchard mower": battery_ah: missing' in told
    assert '"sprayer", need 1: wants 1500 Wh, more than the 200 Wh that the battery holds' in told
    assert '"delivery trike": outlet: no outlet is called "bench left"; did you mean "bench lef"?' in told
    assert len(told.split("\n")) == 4


def test_an_endless_list_of_mistakes_is_cut(tmp_path: Path) -> None:
    outlets = "".join(f'[[outlets]]\nname = "a{number}"\nkind = "wall"\n' for number in range(150))
    told = problems_in(DEMO + outlets, tmp_path)
    assert len(told) == MOST_PROBLEMS + 1
    assert told[-1].startswith("and 50 more")


def test_control_characters_never_reach_the_terminal(tmp_path: Path) -> None:
    told = problems_in(DEMO.replace('name = "sprayer"', 'name = "\\u001b[31mred\\u0007"'), tmp_path)
    told += problems_in('[site]\nname = "a" \u001b[31m', tmp_path)
    assert told
    assert all(problem.isprintable() for problem in told)


# ---------------------------------------------------------------- files that are no fleet files


def test_a_missing_file_names_the_nearest_one(tmp_path: Path) -> None:
    (tmp_path / "field-edge.toml").touch()
    (tmp_path / "notes.txt").touch()
    (problem,) = problems_of(tmp_path / "field_edge.toml")
    assert problem == f"there is no such file; did you mean {tmp_path / 'field-edge.toml'}?"


def test_a_missing_file_with_nothing_like_it_points_to_the_starter(tmp_path: Path) -> None:
    (problem,) = problems_of(tmp_path / "yard.toml")
    assert "there is no such file" in problem
    assert "sunroster new" in problem


def test_a_missing_folder_is_told(tmp_path: Path) -> None:
    (problem,) = problems_of(tmp_path / "none" / "yard.toml")
    assert f"no folder {tmp_path / 'none'}" in problem


def test_a_file_taken_for_a_folder_is_told(tmp_path: Path) -> None:
    (tmp_path / "yard.toml").touch()
    (problem,) = problems_of(tmp_path / "yard.toml" / "yard.toml")
    assert "there is no such file" in problem


def test_a_folder_names_the_fleet_files_in_it(tmp_path: Path) -> None:
    (tmp_path / "north.toml").touch()
    (problem,) = problems_of(tmp_path)
    assert problem == "a folder; wanted a fleet file, such as north.toml in it"


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (problem,) = problems_of(tmp_path / "pipe")
    assert problem.startswith("not an ordinary file")


def test_a_large_file_is_refused_before_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "yard.toml"
    with path.open("wb") as file:
        file.truncate(50_000_000)
    monkeypatch.setattr(Path, "read_bytes", lambda self: pytest.fail(f"{self} was read"))
    (problem,) = problems_of(path)
    assert problem == "50.0 MB is no fleet file; wanted TOML text of at most 1 MB"


def test_a_file_of_just_the_largest_size_is_read(tmp_path: Path) -> None:
    text = DEMO.encode()
    path = tmp_path / "yard.toml"
    path.write_bytes(text + b"#" * (MOST_BYTES - len(text)))
    assert read_yard(path).site.name == "field-edge store"
    path.write_bytes(text + b"#" * (MOST_BYTES - len(text) + 1))
    assert "no fleet file" in problems_of(path)[0]


def test_an_unreadable_file_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "yard.toml"
    path.touch()

    def refuse(self: Path) -> bytes:
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(Path, "read_bytes", refuse)
    (problem,) = problems_of(path)
    assert problem == "can't be read: Permission denied; check its name and its permissions"


def test_a_name_too_long_for_the_disk_is_told(tmp_path: Path) -> None:
    (problem,) = problems_of(tmp_path / ("y" * 5000))
    assert problem.startswith("can't be read: ")


@pytest.mark.parametrize(
    ("content", "wanted"),
    [
        (DEMO.encode("utf-16"), "the text is UTF-16; save it as UTF-8"),
        (DEMO.encode("utf-16-be"), "a binary file"),
        (b"\x7fELF\x02\x01\x01\x00\x00", "a binary file"),
        (
            '[site]\nname = "S\xfcdhang"\n'.encode("latin-1"),
            "line 2: a character that is not UTF-8 (byte 0xfc)",
        ),
        (b"x = " + b"[" * 5000, "brackets nested too deep"),
        (b"x = " + b"9" * 5000, "a number with thousands of digits"),
    ],
)
def test_other_files_are_told_by_what_they_are(content: bytes, wanted: str, tmp_path: Path) -> None:
    (problem,) = problems_in(content, tmp_path)
    assert problem.startswith(wanted)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(
        st.tuples(
            st.integers(0, len(DEMO)),
            st.integers(0, 12),
            st.sampled_from(["", "[", "]", '"', "=", "\n", "-1", "x", " = 5\n", "{", ","]),
        ),
        min_size=1,
        max_size=4,
    )
)
def test_a_damaged_file_is_either_read_or_told_in_plain_words(
    tmp_path_factory: pytest.TempPathFactory, damage: list[tuple[int, int, str]]
) -> None:
    text = DEMO
    for start, length, other in damage:
        text = text[:start] + other + text[start + length :]
    path = tmp_path_factory.mktemp("damaged") / "yard.toml"
    path.write_text(text, encoding="utf-8")
    try:
        read_yard(path)
        told: tuple[str, ...] = ()
    except FleetFileError as fault:
        told = fault.problems or ("a fault without a word",)
    for problem in told:
        assert problem.isprintable()
        assert not JARGON.search(problem.split("; found ")[0]), problem
    assert told != ("a fault without a word",)


# ---------------------------------------------------------------- the line map


def _paths(value: object, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(deeper for key, item in inside for deeper in _paths(item, (*path, key)))]


scalars = st.sampled_from(
    [
        "1",
        "-2.5e3",
        "true",
        "07:30",
        "2027-06-09 07:30",
        '"a, ]}"',
        "'# no comment'",
        '"""x\n]y\\""""',
        "'''a\n'b'''",
        '"q\\""',
    ]
)
keys = st.sampled_from(["a", "b", "a-b", '"c.d"', "'e '", "a.b"])
gaps = st.sampled_from(["", " ", "\n", " # it's ]\n"])


@st.composite
def lists(draw: st.DrawFn, items: st.SearchStrategy[str]) -> str:
    body = ",".join(draw(gaps) + item + draw(gaps) for item in draw(st.lists(items, max_size=3)))
    return f"[{body}{draw(gaps)}]"


@st.composite
def inline_tables(draw: st.DrawFn, items: st.SearchStrategy[str]) -> str:
    chosen = draw(
        st.lists(
            st.tuples(st.sampled_from(["a", "b", '"c.d"']), items), max_size=3, unique_by=lambda pair: pair[0]
        )
    )
    return "{" + ",".join(f"{draw(gaps)}{key} = {item}{draw(gaps)}" for key, item in chosen) + "}"


values = st.recursive(scalars, lambda items: lists(items) | inline_tables(items), max_leaves=6)


@st.composite
def documents(draw: st.DrawFn) -> str:
    lines = []
    for _ in range(draw(st.integers(1, 4))):
        heading = draw(st.sampled_from(["[[t]]", "[u]", "[[t.n]]", '[ "v w" . x ]', "[[ t . n ]] # [x]"]))
        chosen = draw(st.lists(st.tuples(keys, values), max_size=3, unique_by=lambda pair: pair[0]))
        lines += [heading, *(f"{key} = {value}" for key, value in chosen)]
    return "\n".join(lines)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(documents())
def test_the_line_map_finds_whatever_the_parser_finds(text: str) -> None:
    try:
        data = tomli.loads(text)
    except tomli.TOMLDecodeError:
        return
    lines = build_line_map(text).lines
    found = _paths(data)[1:]
    assert set(found) == set(lines)
    for path in found:
        if isinstance(path[-1], str):
            line = text.split("\n")[lines[path] - 1]
            assert path[-1] in line


def test_an_unknown_item_falls_back_to_the_line_of_what_is_around_it() -> None:
    lines = build_line_map("[a]\nb = 1\n[[c]]\n[[c]]\nd = [\n 1,\n 2]\n")
    assert lines.line_of(("c", 1, "d", 1)) == 7
    assert lines.line_of(("c", 1, "e")) == 4
    assert lines.line_of(("a", "b", "x", 3)) == 2
    assert lines.line_of(("z",)) == 0
