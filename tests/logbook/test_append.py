"""No confirmed reading is lost: two writers, a full disk, a kill, a torn last line, a file put in its place."""

from __future__ import annotations

import os
import random
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

import portalocker
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.errors import LogbookError, OutputError
from scheduler.logbook import append
from scheduler.logbook.append import Cells, append_lines
from scheduler.logbook.readings import Logbook, Reading, parse_logbook, read_logbook
from tests.cli_yard import FLEET, ROOT
from tests.logbook.test_readings import SITE

TIME = "2027-06-08T12:30-04:00"
HEADER = "time,what,value,who\n"

#: The beginning of a script that appends notes to the file it is told.
ADD = """
import sys
from pathlib import Path
from scheduler.logbook.append import append_lines
from scheduler.yard.models import Site
site = Site(latitude=36.1, longitude=-79.95, timezone="America/New_York")
def add(text):
    append_lines(Path(sys.argv[1]), site, lambda log: [("2027-06-08T12:30-04:00", "note", text, "")])
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "yard-logbook.csv"


def add(path: Path, *lines: Cells) -> Logbook:
    return append_lines(path, SITE, lambda log: lines)


def test_a_new_logbook_gets_its_header_and_a_second_line_none(path: Path) -> None:
    add(path, (TIME, "bank", "62", "Ann"))
    add(path, (TIME, "cart", "40", ""), (TIME, "note", 'said "so, so"', ""))
    assert path.read_bytes().decode() == (
        f'{HEADER}{TIME},bank,62,Ann\n{TIME},cart,40,\n{TIME},note,"said ""so, so""",\n'
    )
    assert [reading.text for reading in read_logbook(path, SITE).readings] == ["62", "40", 'said "so, so"']


def test_a_line_stays_one_line_whatever_is_in_it(path: Path) -> None:
    add(path, (TIME, "note", "one\ntwo\r\n\tthree\x00four\u2028five", "A\nB"))
    assert path.read_bytes().count(b"\n") == 2
    (reading,) = read_logbook(path, SITE).readings
    assert (reading.text, reading.who) == ("one two three four five", "A B")


def test_letters_that_the_terminal_got_wrong_are_no_reason_to_lose_a_reading(path: Path) -> None:
    add(path, (TIME, "note", "caf\udce9", ""))
    assert [reading.text for reading in read_logbook(path, SITE).readings] == ["caf?"]


def test_a_file_that_a_spreadsheet_saved_goes_on_in_its_own_way(path: Path) -> None:
    before = b"\xef\xbb\xbfwho;place;value;what;time\r\nAnn;door;62,5;bank;08.06.2027 12:30\r\n"
    path.write_bytes(before)
    add(path, (TIME, "note", "a; b", "Bea"))
    assert path.read_bytes() == before + f'Bea;;"a; b";note;{TIME}\r\n'.encode()
    assert [reading.who for reading in read_logbook(path, SITE).readings] == ["Ann", "Bea"]


@pytest.mark.parametrize("delimiter", [",", ";"])
@pytest.mark.parametrize("columns", ["time,what,value", "value,what,place,time", "time,what,value,"])
def test_a_name_goes_under_a_header_of_its_own_where_the_file_has_no_column_for_it(
    path: Path, columns: str, delimiter: str
) -> None:
    cells = {"time": "2027-06-08 12:00", "what": "bank", "value": "62"}
    first = [columns, ",".join(cells.get(column, "") for column in columns.split(","))]
    before = "".join(f"{line}\n" for line in first).replace(",", delimiter)
    path.write_text(before)
    add(path, (TIME, "bank", "61", ""))
    assert path.read_text().count("time") == 1  # nothing that asks for another column
    add(path, (TIME, "bank", "48", "Ann"))
    add(path, (TIME, "bank", "47", "Bea"))
    add(path, (TIME, "bank", "46", ""))
    assert path.read_text().startswith(before)
    assert path.read_text().count("time") == 2
    log = read_logbook(path, SITE)
    assert log.problems == ()
    read = [(reading.value_pct, reading.who) for reading in log.readings]
    assert read == [(62.0, ""), (61.0, ""), (48.0, "Ann"), (47.0, "Bea"), (46.0, "")]


@pytest.mark.parametrize("length", range(1, len("time,what,value,who\n2027-06-08T12:30-04:00,bank,48,Ann\n")))
def test_a_second_header_that_a_power_cut_tore_spoils_nothing(path: Path, length: int) -> None:
    path.write_text("time,what,value\n2027-06-08 12:00,bank,62\n")
    before = len(path.read_bytes())
    add(path, (TIME, "bank", "48", "Ann"))
    path.write_bytes(path.read_bytes()[: before + length])
    add(path, (TIME, "bank", "47", "Bea"))
    read = [(reading.value_pct, reading.who) for reading in read_logbook(path, SITE).readings]
    assert read[0] == (62.0, "")
    assert read[-1] == (47.0, "Bea")
    assert {pct for pct, _ in read} <= {62.0, 48.0, 47.0}


@pytest.mark.parametrize("length", range(1, len(f"{HEADER}{TIME},bank,6")))
def test_a_torn_last_line_is_ended_and_never_erased(path: Path, length: int) -> None:
    torn = f"{HEADER}{TIME},bank,62,Ann\n"[:length]
    path.write_text(torn)
    add(path, (TIME, "bank", "48", "Bea"))
    assert path.read_text().startswith(torn)
    assert [reading.value_pct for reading in read_logbook(path, SITE).of_bank] == [48.0]


def test_a_torn_line_of_zeros_is_ended_too(path: Path) -> None:
    path.write_bytes(HEADER.encode() + b"\x00" * 20)
    add(path, (TIME, "bank", "48", "Bea"))
    log = read_logbook(path, SITE)
    assert [reading.value_pct for reading in log.of_bank] == [48.0]
    assert log.problems == ("line 2: cut off, as by a power cut",)


def test_what_is_no_logbook_is_left_as_it_is(path: Path) -> None:
    path.write_bytes(b"PK\x03\x04 a spreadsheet")
    with pytest.raises(LogbookError):
        add(path, (TIME, "bank", "62", ""))
    assert path.read_bytes() == b"PK\x03\x04 a spreadsheet"


def test_nothing_is_written_if_the_reading_is_asked_back(path: Path) -> None:
    add(path, (TIME, "bank", "62", ""))
    before = path.read_bytes()

    def refuse(log: Logbook) -> Iterable[Cells]:
        assert log.readings[0].value_pct == 62.0
        raise KeyError

    with pytest.raises(KeyError):
        append_lines(path, SITE, refuse)
    assert path.read_bytes() == before


def test_a_disk_that_fills_up_in_the_middle_of_a_line_leaves_what_was_there(path: Path) -> None:
    add(path, (TIME, "bank", "62", ""))
    before = path.read_bytes()
    script = (
        f"{ADD}from scheduler.errors import OutputError\n"
        "try:\n    add('63')\nexcept OutputError as fault:\n    print(fault)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(path)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 9, len(before) + 9)),
    )
    assert "nothing was noted, keep it on paper" in done.stdout
    assert path.read_bytes() == before


def test_a_disk_that_fails_to_keep_it_is_told_and_not_confirmed(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    add(path, (TIME, "bank", "62", ""))
    before = path.read_bytes()

    def fail(handle: int) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(append.os, "fsync", fail)
    with pytest.raises(OutputError, match="Input/output error"):
        add(path, (TIME, "bank", "63", ""))
    assert path.read_bytes() == before


def test_a_line_is_on_the_disk_before_it_is_confirmed(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept: list[bytes] = []
    fsync = os.fsync

    def watched(handle: int) -> None:
        fsync(handle)
        kept.append(path.read_bytes())

    monkeypatch.setattr(append.os, "fsync", watched)
    add(path, (TIME, "bank", "62", ""))
    assert kept
    assert kept[0].endswith(b"bank,62,\n")


def test_another_writer_is_waited_for_and_told_of_if_it_stays(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(append, "LOCK_WAIT_S", 0.1)
    add(path, (TIME, "bank", "62", ""))
    with (
        portalocker.Lock(path, "ab+", flags=portalocker.LOCK_EX),
        pytest.raises(OutputError, match="another program holds it"),
    ):
        add(path, (TIME, "bank", "63", ""))


def test_the_line_goes_into_the_file_that_a_spreadsheet_has_just_put_there(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path.write_text(HEADER)
    newer = path.with_suffix(".new")
    newer.write_text(f"{HEADER}{TIME},bank,50,Cal\n")
    samestat = os.path.samestat

    def replaced_just_before(opened: os.stat_result, there: os.stat_result) -> bool:
        same = samestat(opened, there)
        if newer.exists():
            newer.replace(path)
            return samestat(opened, path.stat())
        return same

    monkeypatch.setattr(append.os.path, "samestat", replaced_just_before)
    add(path, (TIME, "bank", "62", "Ann"))
    assert [reading.who for reading in read_logbook(path, SITE).readings] == ["Cal", "Ann"]


WRITE_MANY = f"""{ADD}
for number in range(int(sys.argv[3])):
    add(f"{{sys.argv[2]}} {{number}}")
    print(number, flush=True)
"""


def write_many(path: Path, who: str, times: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", WRITE_MANY, str(path), who, str(times)]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)


def test_two_processes_at_once_lose_nothing_and_write_one_header(path: Path) -> None:
    writers = [write_many(path, who, 40) for who in ("Ann", "Bea")]
    for writer in writers:
        writer.communicate(timeout=60)
        assert writer.returncode == 0
    log = read_logbook(path, SITE)
    assert log.problems == ()
    for who in ("Ann", "Bea"):
        assert [r.text for r in log.readings if r.text.startswith(who)] == [f"{who} {n}" for n in range(40)]
    assert path.read_text().count("time,what") == 1


def test_a_writer_killed_while_it_writes_on_and_on_has_lost_nothing_confirmed(path: Path) -> None:
    rng = random.Random(7)
    confirmed = []
    for turn in range(3):
        writer = write_many(path, f"turn {turn}", 100_000)
        assert writer.stdout is not None
        first = writer.stdout.readline()
        time.sleep(rng.uniform(0.0, 0.2))
        writer.send_signal(signal.SIGKILL)
        rest, _ = writer.communicate(timeout=60)
        confirmed += [f"turn {turn} {n}" for n in (first + rest).split()]
    log = read_logbook(path, SITE)
    assert len(confirmed) > 3  # some turn got further than its first line
    assert set(confirmed) <= {reading.text for reading in log.readings}


def kill_notes(folder: Path, kills: int, rng: random.Random) -> tuple[int, int]:
    """Kill ``sunroster note`` at random moments; return how many were confirmed, and how many written at all."""
    (folder / "yard.toml").write_text(FLEET)
    path = folder / "yard-logbook.csv"
    command = [sys.executable, "-m", "scheduler", "note", "yard.toml", "--bank", "60", "--remark"]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    begun = time.monotonic()
    subprocess.run([*command, "first"], cwd=folder, env=env, check=True, capture_output=True, timeout=60)
    lasts = time.monotonic() - begun
    confirmed = {"first"}
    for number in range(kills):
        note = subprocess.Popen(
            [*command, f"kill {number}"], cwd=folder, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
        time.sleep(rng.uniform(0.3, 1.3) * lasts)
        note.kill()
        told, _ = note.communicate(timeout=60)
        if f'noted: "kill {number}"'.encode() in told:
            confirmed.add(f"kill {number}")
        log = read_logbook(path, SITE)
        assert confirmed <= {reading.text for reading in log.readings if reading.what == "note"}
        lasts = 0.9 * lasts if len(confirmed) > 1 + number / 2 else 1.1 * lasts
    return len(confirmed) - 1, sum(reading.what == "note" for reading in log.readings) - 1


def test_a_killed_note_has_lost_no_confirmed_reading(tmp_path: Path) -> None:
    kill_notes(tmp_path, 8, random.Random(3))


@pytest.mark.deep
def test_300_killed_notes_have_lost_no_confirmed_reading(tmp_path: Path) -> None:
    confirmed, written = kill_notes(tmp_path, 300, random.Random(11))
    assert 30 < confirmed <= written < 270


NAMES = st.text(
    st.characters(exclude_categories=("Cc", "Zl", "Zp", "Cs", "Cn", "Cf")), min_size=1, max_size=12
)


@settings(max_examples=60, deadline=None)
@given(
    name=NAMES.map(str.strip).filter(bool) | st.sampled_from(["bank", "Note", "machine x"]),
    pct=st.integers(0, 100),
    remark=st.text(st.characters(exclude_categories=("Cs",)), max_size=30),
    delimiter=st.sampled_from(",;\t"),
)
def test_whatever_a_machine_is_called_and_whatever_is_remarked_comes_back(
    name: str, pct: int, remark: str, delimiter: str
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_text(HEADER.replace(",", delimiter))
        time = datetime(2027, 6, 8, 16, 30, tzinfo=UTC)
        readings = (
            Reading(time, "machine", name, float(pct), f"{pct}", "Ann", 2),
            Reading(time, "note", "", None, append.on_one_line(remark), "", 3),
            Reading(time, "bank", "", float(pct), f"{pct}", "Ann", 4),
        )
        add(path, *(append.reading_cells(reading, SITE.zone) for reading in readings))
        assert read_logbook(path, SITE).readings == readings
        add(path, append.withdrawal_cells(readings[0], SITE.zone, "Bea"))
        log = read_logbook(path, SITE)
        assert log.standing == readings[1:]
        assert log.problems == ()


@settings(max_examples=200, deadline=None)
@given(
    st.binary(max_size=80), st.lists(st.sampled_from([*b'"\r\n,;\t\x00\xef:/.T62 ']), max_size=60).map(bytes)
)
def test_no_bytes_of_a_file_stop_the_reader_or_hide_the_reading_after_them(noise: bytes, more: bytes) -> None:
    after = f"\n{TIME},bank,62,Ann\n".encode()
    log = parse_logbook(b"time,what,value,who\n" + noise + more + after, Path("log.csv"), SITE)
    assert log.readings[-1].value_pct == 62.0
    try:
        parse_logbook(noise + more, Path("log.csv"), SITE)
    except LogbookError:
        assert noise.startswith((b"\xff\xfe", b"\xfe\xff", b"PK")) or not noise
