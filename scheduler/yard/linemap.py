"""On which line of a TOML text each table, key and list item stands, and from where to where its value.

No TOML parser tells where its items stood. This reads a text that a parser has already found sound, so it has
to follow the brackets and quotes only.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import tomli

Path = tuple[str | int, ...]

_TOKEN = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}'
    r"|'''.*?'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'"
    r"|#[^\n]*"
    r"|[\n\[\]{}=,.]"
    r"|[^\s\[\]{}=,.#\"']+",
    re.DOTALL,
)


@dataclass(frozen=True)
class LineMap:
    """Where things stand in a text, by the path of keys and list positions that lead to them.

    Attributes
    ----------
    lines : dict of tuple to int
        Counted from 1.
    values : dict of tuple to tuple of int
        Where a value begins and ends, in letters of the text; a table under a heading has none.
    headings : dict of tuple to int
        The letter at which the heading of a table begins.
    """

    lines: dict[Path, int]
    values: dict[Path, tuple[int, int]]
    headings: dict[Path, int]

    def line_of(self, path: Path) -> int:
        """Return the line of the item, or of the nearest table around it; 0 for the file as a whole."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 0)


def build_line_map(text: str) -> LineMap:
    """Map a sound TOML text."""
    scan = _Scan(text)
    return LineMap(scan.lines, scan.values, scan.headings)


class _Scan:
    """A walk over the text's tokens."""

    def __init__(self, text: str) -> None:
        self.lines: dict[Path, int] = {}
        self.values: dict[Path, tuple[int, int]] = {}
        self.headings: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}
        self.tokens: list[tuple[str, int, int]] = []
        line = 1
        end = 0
        for match in _TOKEN.finditer(text):
            line += text.count("\n", end, match.start())
            if not match[0].startswith("#"):
                self.tokens.append((match[0], line, match.start()))
            line += match[0].count("\n")
            end = match.end()
        self.at = 0
        self._statements()

    def _peek(self) -> str:
        return self.tokens[self.at][0] if self.at < len(self.tokens) else ""

    def _take(self) -> str:
        self.at += 1
        return self.tokens[self.at - 1][0] if self.at <= len(self.tokens) else ""

    def _line(self) -> int:
        return self.tokens[min(self.at, len(self.tokens) - 1)][1]

    def _letter(self) -> int:
        """Where the next token begins."""
        return self.tokens[min(self.at, len(self.tokens) - 1)][2]

    def _mark(self, path: Path, line: int) -> None:
        for length in range(1, len(path) + 1):
            self.lines.setdefault(path[:length], line)

    def _statements(self) -> None:
        table: Path = ()
        while self._peek():
            if self._peek() == "\n":
                self._take()
            elif self._peek() == "[":
                table = self._header()
            else:
                self._key_and_value(table)

    def _header(self) -> Path:
        line, begin = self._line(), self._letter()
        self._take()
        is_listed = self._peek() == "["
        if is_listed:
            self._take()
        path: Path = ()
        keys = self._keys()
        for key in keys[:-1]:
            path = self._latest((*path, key))
        path = (*path, keys[-1])
        if is_listed:
            self.counts[path] = self.counts.get(path, 0) + 1
            path = self._latest(path)
        self._mark(path, line)
        self.headings[path] = begin
        while self._peek() not in ("\n", ""):
            self._take()
        return path

    def _latest(self, path: Path) -> Path:
        """Where `path` is a list of tables, the last of them is meant."""
        return (*path, self.counts[path] - 1) if path in self.counts else path

    def _keys(self) -> list[str]:
        keys = [_bare(self._take())]
        while self._peek() == ".":
            self._take()
            keys.append(_bare(self._take()))
        return keys

    def _key_and_value(self, table: Path) -> None:
        line = self._line()
        path = (*table, *self._keys())
        self._mark(path, line)
        self._take()
        self._value(path)

    def _value(self, path: Path) -> None:
        opening, begin = self._peek(), self._letter()
        if opening == "[":
            self._listed(path)
        elif opening == "{":
            self._inline_table(path)
        else:
            while self._peek() not in ("\n", ",", "]", "}", ""):
                self._take()
        last, _, at = self.tokens[self.at - 1]
        self.values[path] = (begin, at + len(last))

    def _listed(self, path: Path) -> None:
        self._take()
        item = 0
        while self._peek() not in ("]", ""):
            if self._peek() == ",":
                item += 1
                self._take()
            elif self._peek() == "\n":
                self._take()
            else:
                self._mark((*path, item), self._line())
                self._value((*path, item))
        self._take()

    def _inline_table(self, path: Path) -> None:
        self._take()
        while self._peek() not in ("}", ""):
            if self._peek() in (",", "\n"):
                self._take()
            else:
                self._key_and_value(path)
        self._take()


def _bare(key: str) -> str:
    return str(tomli.loads(f"key = {key}")["key"]) if key.startswith(('"', "'")) else key
