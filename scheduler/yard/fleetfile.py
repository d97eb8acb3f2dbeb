"""Reading the fleet file: every mistake of it told in one go."""

from __future__ import annotations

import difflib
import pathlib
import re
import stat
from collections.abc import Mapping
from typing import Any

import tomli

from scheduler.errors import FleetFileError
from scheduler.yard.crosschecks import check_tables
from scheduler.yard.figures import Record
from scheduler.yard.linemap import build_line_map
from scheduler.yard.mistakes import Mistake, render_mistakes
from scheduler.yard.models import Machine, Yard
from scheduler.yard.tables import numbered, read_tables

MOST_BYTES = 1_000_000  #: a larger file is no fleet file; it is not even opened
MOST_PROBLEMS = 100

START_OVER = "`sunroster new` writes a commented starter file"

#: What the parser's words mean to somebody who has never seen TOML, longest match first.
_SYNTAX_WORDS = (
    ("Expected '=' after a key", 'wanted a line such as key = value; text for people goes after a "#"'),
    ("Invalid value", 'not a value; text stands in "quotes", a number has no unit behind it'),
    ("Expected newline or end of document", 'wanted one value; text has "quotes", decimals have a point'),
    ("Cannot overwrite a value", "a key for the second time; wanted each key once in a table"),
    ("Duplicate inline table key", "a key for the second time; wanted each key once in a table"),
    ("Cannot declare", "a table for the second time; several of a kind have double brackets, [[so]]"),
    ("Unclosed array", 'a list breaks off; wanted [items, "text in quotes", 07:30] with commas between'),
    ("Unclosed inline table", 'wanted a comma between keys and a "}" at the end'),
    ("Unterminated string", "text is not closed; wanted quotes at its end"),
    ("Illegal character", "quotes are not closed on this line, or a character that text can't hold"),
    ("Unescaped '\\'", "a backslash in \"text\" starts a code; write it twice, or use 'single quotes'"),
    ("Found invalid character", "a character that a comment can't hold"),
    ("Invalid initial character for a key", "wanted a key: letters, digits, _ and -, without blanks"),
    ("Invalid statement", "wanted a [table] or a line such as key = value"),
    ("Invalid date or datetime", "no such date or time"),
    ("Invalid hex value", "a backslash in \"text\" starts a code; write it twice, or use 'single quotes'"),
    ("Expected ']'", "wanted the closing bracket of the table's name, and nothing else on the line"),
    ('Expected "\'"', "text is not closed; wanted quotes at its end"),
    ("Cannot mutate", "this table was closed before; wanted all its keys in one place"),
    ("Cannot redefine", "this table was closed before; wanted all its keys in one place"),
)


def read_yard(path: pathlib.Path) -> Yard:
    """Read a fleet file.

    Parameters
    ----------
    path : Path
        A TOML 1.1 file in UTF-8, with or without a byte order mark.

    Returns
    -------
    Yard
        With the machines given by `count` one by one.

    Raises
    ------
    FleetFileError
        With every mistake of the file, one line each.
    """
    return parse_yard(path, _read_text(path))


def parse_yard(path: pathlib.Path, text: str) -> Yard:
    """Take a text for what a fleet file holds; arguments and errors as of `read_yard`."""
    data = _parse_toml(path, text)
    mistakes: list[Mistake] = []
    tables = read_tables(data, mistakes)
    mistakes.extend(check_tables(tables, data))
    if mistakes:
        raise _refusal(path, text, data, mistakes)
    listed: dict[str, tuple[Record | None, ...]] = dict(tables.listed)
    machines = (machine for _, machine in tables.sound(Machine))
    listed["machines"] = tuple(each for machine in machines for each in _one_by_one(machine))
    return Yard.model_validate({**tables.single, **listed})


def read_newcomers(path: pathlib.Path, fleet: pathlib.Path) -> tuple[Machine, ...]:
    """Read machines that are thought of for a yard: a file of [[machines]] as they would stand in its fleet file.

    Parameters
    ----------
    path : Path
        The newcomers' file.
    fleet : Path
        The fleet file, which has been read without a mistake.

    Returns
    -------
    tuple of Machine
        With those given by `count` one by one.

    Raises
    ------
    FleetFileError
        With every mistake of the newcomers' file, what does not fit the yard among them.
    """
    text = _read_text(path)
    data = _parse_toml(path, text)
    own = [Mistake((key,), "wanted [[machines]] alone in this file") for key in data if key != "machines"]
    rows = data.get("machines")
    if not isinstance(rows, list) or not rows:
        own.append(
            Mistake((), "wanted at least one [[machines]], as in a fleet file; `sunroster new` shows one")
        )
        raise _refusal(path, text, data, own)
    yard_data = _parse_toml(fleet, _read_text(fleet))
    there = len(yard_data.get("machines", []))
    joined = {**yard_data, "machines": [*yard_data.get("machines", []), *rows]}
    mistakes: list[Mistake] = []
    tables = read_tables(joined, mistakes)
    mistakes.extend(check_tables(tables, joined))
    own.extend(_counted_from(there, mistake) for mistake in mistakes)
    if own:
        raise _refusal(path, text, data, own)
    newcomers = (machine for (_, number), machine in tables.sound(Machine) if int(number) >= there)
    return tuple(each for machine in newcomers for each in _one_by_one(machine))


def _counted_from(there: int, mistake: Mistake) -> Mistake:
    """Return a mistake of the joined list as one of the newcomers' own."""
    kind, *inner = mistake.path
    if kind != "machines" or not inner or not isinstance(inner[0], int) or inner[0] < there:
        return mistake
    return Mistake((kind, inner[0] - there, *inner[1:]), mistake.text)


def _refusal(
    path: pathlib.Path, text: str, data: Mapping[str, Any], mistakes: list[Mistake]
) -> FleetFileError:
    problems = render_mistakes(mistakes, data, build_line_map(text))
    if len(problems) > MOST_PROBLEMS:
        problems[MOST_PROBLEMS:] = [f"and {len(problems) - MOST_PROBLEMS} more; {START_OVER}"]
    return FleetFileError(path, problems)


def _one_by_one(machine: Machine) -> tuple[Machine, ...]:
    names = numbered(machine.name, machine.count)
    return tuple(machine.model_copy(update={"name": name, "count": 1}) for name in names)


def _read_text(path: pathlib.Path) -> str:
    try:
        facts = path.stat()
        if not stat.S_ISREG(facts.st_mode):
            raise FleetFileError(path, [_tell_not_a_file(path, facts.st_mode)])
        if facts.st_size > MOST_BYTES:
            size_mb = facts.st_size / 1e6
            problem = (
                f"{size_mb:.1f} MB is no fleet file; wanted TOML text of at most {MOST_BYTES / 1e6:g} MB"
            )
            raise FleetFileError(path, [problem])
        content = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError) as fault:
        raise FleetFileError(path, [f"there is no such file; {_nearest_file(path)}"]) from fault
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or str(fault)
        problem = f"can't be read: {reason}; check its name and its permissions"
        raise FleetFileError(path, [problem]) from fault
    return _decode(path, content)


def _tell_not_a_file(path: pathlib.Path, mode: int) -> str:
    if not stat.S_ISDIR(mode):
        return "not an ordinary file; wanted a fleet file"
    inside = sorted(each.name for each in path.glob("*.toml"))[:5]
    return f"a folder; wanted a fleet file{', such as ' + ', '.join(inside) + ' in it' if inside else ''}"


def _nearest_file(path: pathlib.Path) -> str:
    try:
        beside = sorted(each.name for each in path.parent.iterdir() if each.is_file())
    except OSError:
        return f"there is no folder {path.parent} either"
    near = difflib.get_close_matches(path.name, beside, 1, 0.6) or [
        each for each in beside if each.endswith(".toml")
    ]
    return f"did you mean {path.parent / near[0]}?" if near else START_OVER


def _decode(path: pathlib.Path, content: bytes) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise FleetFileError(path, ["the text is UTF-16; save it as UTF-8"])
    if b"\x00" in content:
        raise FleetFileError(path, ["a binary file, no text; wanted TOML text in UTF-8"])
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = content.count(b"\n", 0, fault.start) + 1
        found = f"a character that is not UTF-8 (byte 0x{content[fault.start]:02x})"
        raise FleetFileError(path, [f"line {line}: {found}; save the file as UTF-8"]) from fault


def _parse_toml(path: pathlib.Path, text: str) -> Mapping[str, Any]:
    try:
        data = tomli.loads(text)
    except tomli.TOMLDecodeError as fault:
        raise FleetFileError(path, [_tell_syntax(fault)]) from fault
    except RecursionError as fault:
        raise FleetFileError(path, [f"brackets nested too deep for a fleet file; {START_OVER}"]) from fault
    except ValueError as fault:
        raise FleetFileError(path, ["a number with thousands of digits; wanted ordinary numbers"]) from fault
    if not data:
        raise FleetFileError(path, [f"the file is empty; {START_OVER}"])
    return data


def _tell_syntax(fault: tomli.TOMLDecodeError) -> str:
    words = next((words for start, words in _SYNTAX_WORDS if fault.msg.startswith(start)), fault.msg)
    if "second time" in words:
        words += _show_first(fault.doc.split("\n")[: fault.lineno])
    return f"line {fault.lineno}, column {fault.colno}: {words}{_show_line(fault.doc, fault.lineno)}"


def _show_first(lines: list[str]) -> str:
    """Find where the last line's key or table stood before."""
    again = lines[-1].split("=")[0].strip()
    for number, line in reversed(list(enumerate(lines[:-1], 1))):
        if line.split("=")[0].strip() == again:
            return f" (the first is in line {number})"
    return ""


def _show_line(text: str, line: int) -> str:
    shown = text.split("\n")[line - 1].strip() if line <= text.count("\n") + 1 else ""
    shown = re.sub(r"[^\x20-\x7e\xa0-\uffff]", "?", shown)
    return f"; found {shown[:60]}{'...' if len(shown) > 60 else ''}" if shown else ""
