"""Changing figures in a fleet file's text, everything else in it left as it stands; the change as a diff."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import tomli

from scheduler.yard.linemap import Path, build_line_map
from scheduler.yard.tables import read_names

#: Lines that a diff shows about each change.
CONTEXT_LINES = 2


@dataclass(frozen=True)
class Edit:
    """The letters from `begin` to before `end` become `new`."""

    begin: int
    end: int
    new: str


class FleetText:
    """A sound fleet file's text, without a byte order mark, and where things stand in it.

    Each change is given as edits for `changed`; none where the layout leaves no safe place for it.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        self.newline = "\r\n" if "\r\n" in text else "\n"
        self._map = build_line_map(text)

    def machine_tables(self) -> dict[str, int]:
        """Which of the [[machines]] each machine is of; those of one with `count` are several."""
        return {name: int(path[1]) for path, name in read_names(tomli.loads(self.text), "machines")}

    def set_value(self, table: Path, key: str, value: str) -> tuple[Edit, ...]:
        """Put a value in the place of a key's, or the key into its table where it is not there."""
        there = self._map.values.get((*table, key))
        if there is not None:
            return (Edit(*there, value),)
        if (*table, key) in self._map.lines:
            return ()  # a table of its own, or dotted keys
        inline = self._map.values.get(table)
        if inline is not None:
            is_empty = not self.text[inline[0] + 1 : inline[1] - 1].strip()
            return (Edit(inline[0] + 1, inline[0] + 1, f" {key} = {value}{' ' if is_empty else ','}"),)
        if table not in self._map.headings:
            return ()
        return (self._after_line(self._map.headings[table], f"{key} = {value}"),)

    def set_items(self, path: Path, values: Sequence[str]) -> tuple[Edit, ...]:
        """Put other items into a list of as many; what is said beside each stays."""
        places = [self._map.values.get((*path, number)) for number in range(len(values))]
        return tuple(Edit(*place, value) for place, value in zip(places, values, strict=True) if place is not None)

    def add_table(self, kind: str, pairs: Sequence[tuple[str, str]]) -> tuple[Edit, ...]:
        """Add a table to a list of tables."""
        keys = [f"{key} = {value}" for key, value in pairs]
        listed = self._map.values.get((kind,))
        if listed is not None:
            return (Edit(listed[0] + 1, listed[0] + 1, f" {{ {', '.join(keys)} }},"),)
        end = len(self.text)
        lines = ["" if self.text.endswith("\n") else self.newline, *(f"{line}{self.newline}" for line in keys)]
        return (Edit(end, end, f"{lines[0]}{self.newline}[[{kind}]]{self.newline}{''.join(lines[1:])}"),)

    def changed(self, edits: Iterable[Edit]) -> str:
        """Return the text with the edits made."""
        text = self.text
        for edit in sorted(edits, key=lambda edit: edit.begin, reverse=True):
            text = text[: edit.begin] + edit.new + text[edit.end :]
        return text

    def _after_line(self, letter: int, line: str) -> Edit:
        end = self.text.find("\n", letter)
        if end < 0:
            return Edit(len(self.text), len(self.text), f"{self.newline}{line}")
        return Edit(end + 1, end + 1, f"{line}{self.newline}")


def unified_diff(before: str, after: str, name: str) -> str:
    """Return the change of a file as ``patch -p0`` takes it beside that file; empty where nothing changes.

    Ends of lines are those of the file. A tab ends the names, so that they may hold blanks.
    """
    lines = difflib.unified_diff(
        list(_lines(before)), list(_lines(after)), name, name, "in the file", "learned", n=CONTEXT_LINES
    )
    return "".join(line if line.endswith("\n") else f"{line}\n\\ No newline at end of file\n" for line in lines)


def _lines(text: str) -> Iterator[str]:
    """Yield a text's lines with their ends; other signs than a line feed end none, as for patch."""
    *whole, rest = text.split("\n")
    yield from (f"{line}\n" for line in whole)
    if rest:
        yield rest
