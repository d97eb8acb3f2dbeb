"""What happens to files on their way: bytes, lines, values, keys, encodings, sizes, each drawn from a seed."""

# ruff: noqa: E501, RUF001  tables of odd things
from __future__ import annotations

import json
import random
import re
from collections.abc import Callable, Sequence
from typing import Any

Mutation = Callable[[bytes, random.Random], bytes]

#: Values that were never meant, as TOML, CSV and JSON write them.
ODD_VALUES = (
    "nan", "-nan", "NaN", "inf", "-inf", "Infinity", "-Infinity", "1e308", "-1e308", "1e309", "1e999", "-1e999", "1e-320",
    "0", "-0", "-0.0", "-1", "1", "2", "3", "99", "100", "101", "1000", "100000", "1e9", "1000000001", "1_000", "0x10", "0b1",
    "9" * 30, "9" * 400, "-" + "9" * 5000, "0." + "0" * 500 + "1", "1e-400", "1,5", "1.5.2", "", '""', "[]", "{}", "[[]]",
    "null", "None", "true", "false", "True", '"nan"', '"12"', "[1, 2]", '["a"]', "{a = 1}", '{"a": 1}', "[nan, nan]",
    "07:30", "24:00", "25:61", "00:00", "23:59:59.999999", '"07:30"', '"7.30"', "0001-01-01", "9999-12-31T23:59:59Z",
    "2027-02-29", "2027-02-30 07:00", "1969-12-31T23:59", "2038-01-19T03:14:08Z", "2027-03-14T02:30", "2027-11-07T01:30",
    "2027-06-08T16:00+23:59", "2027-06-08T16:00-24:00", "2027-06-08T16:00:00.000001", "31/12/2027 07:00", "12/31/27 7:00 PM",
    "٣٥", "１２", "½", "−5", "1 000", "50 %", "%", "x", "x" * 300, "y" * 100_000, "'", '"', '"""', "\\", "\\u202e",
    "\\ud800", '"\\u0000"', '"\\u001b[31mred"', '"\\u202eevil"', "=1+1", "@SUM(A1)", "#", "# x: y", "../../etc/passwd",
    "/dev/zero", "America/New_York", '"Europe/Dublin"', '"Pacific/Kiritimati"', '"Antarctica/Troll"', '"/etc/localtime"',
)  # fmt: skip

#: Letters that upset terminals, lines and the direction in which people read.
ODD_LETTERS = (
    "\x00\x01\x07\x08\x0b\x0c\r\x1a\x1b\x7f\x80\x85\x9b\xa0\xad\u061c\u200b\u200e\u200f\u2028\u2029\u202a\u202e\u2066\u2067"
    "\u2069\ufeff\ufffe\uffff\ufffd\u0301\u0e33ﷺ\U0001f9d1\U000e0001\U0010ffff"
)
ODD_BYTES = (
    b"\x00", b"\xff\xfe", b"\xfe\xff", b"\xef\xbb\xbf", b"\xc3", b"\xc3\x28", b"\xed\xa0\x80", b"\xf4\x90\x80\x80", b"\x1b[2J",
    b"\x1b]0;x\x07", b"\x9b31m", b"\r", b"\r\n", b"\n\r", b"\n\n\n", b"\t", b";", b",", b'"', b"'", b"#", b"=", b"[", b"]", b"{", b"}",
    b"[[", b"]]", b".", b"\\", b"\x1a", b"PK\x03\x04", b"\x85", b"\xe2\x80\xa8", b"\xe2\x80\xae",
)  # fmt: skip

_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
_TOKEN = re.compile(rb"\"[^\"\n]*\"|[\w.+:/%-]+")
_DATE = re.compile(rb"\d{4}-\d\d-\d\d|\d\d/\d\d/\d{4}")
#: More than any file here may hold.
LARGE_BYTES = 70_000_000


def mutate(content: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    """Change a file in one to four ways; `others` are files to take pieces from."""
    for _ in range(rng.choice((1, 1, 1, 2, 3, 4))):
        change = rng.choice(_CHANGES)
        content = change(content, rng) if rng.random() > 0.03 else _spliced(content, rng.choice(others), rng)
        if rng.random() < 0.004:
            content = _blown_up(content, rng)
        content = content[:LARGE_BYTES]
    return content


def _place(content: bytes, rng: random.Random) -> int:
    """Somewhere, more often near the beginning or the end, where headers and cut-off lines are."""
    where = rng.random()
    if where < 0.4:
        return rng.randint(0, min(len(content), 400))
    if where < 0.5:
        return rng.randint(max(len(content) - 200, 0), len(content))
    return rng.randint(0, len(content))


def _span(content: bytes, rng: random.Random, longest: int = 400) -> tuple[int, int]:
    begin = _place(content, rng)
    return begin, min(begin + rng.randint(1, longest), len(content))


def _replace(content: bytes, begin: int, end: int, piece: bytes) -> bytes:
    return content[:begin] + piece + content[end:]


def _bit(content: bytes, rng: random.Random) -> bytes:
    at = min(_place(content, rng), max(len(content) - 1, 0))
    return (
        _replace(content, at, at + 1, bytes([content[at] ^ (1 << rng.randrange(8))])) if content else b"\x01"
    )


def _odd_bytes(content: bytes, rng: random.Random) -> bytes:
    at = _place(content, rng)
    return _replace(content, at, at, rng.choice(ODD_BYTES) * rng.choice((1, 1, 2, 50)))


def _noise(content: bytes, rng: random.Random) -> bytes:
    begin, end = _span(content, rng, 40)
    return _replace(content, begin, end, rng.randbytes(end - begin))


def _odd_letter(content: bytes, rng: random.Random) -> bytes:
    at = _place(content, rng)
    return _replace(content, at, at, rng.choice(ODD_LETTERS).encode("utf-8", "surrogatepass"))


def _odd_letter_in_token(content: bytes, rng: random.Random) -> bytes:
    found = _pick(_TOKEN, content, rng)
    if found is None:
        return content
    at = rng.randint(found.start() + 1, max(found.end() - 1, found.start() + 1))
    return _replace(content, at, at, rng.choice(ODD_LETTERS).encode("utf-8", "surrogatepass"))


def _gone(content: bytes, rng: random.Random) -> bytes:
    return _replace(content, *_span(content, rng), b"")


def _again(content: bytes, rng: random.Random) -> bytes:
    begin, end = _span(content, rng)
    return _replace(content, end, end, content[begin:end] * rng.choice((1, 1, 3, 200)))


def _cut_off(content: bytes, rng: random.Random) -> bytes:
    return content[: _place(content, rng)]


def _headless(content: bytes, rng: random.Random) -> bytes:
    return content[_place(content, rng) :]


def _pick(pattern: re.Pattern[bytes], content: bytes, rng: random.Random) -> re.Match[bytes] | None:
    """Something that the pattern finds, near a drawn place."""
    begin = _place(content, rng)
    return pattern.search(content, begin) or pattern.search(content)


def _odd_number(content: bytes, rng: random.Random) -> bytes:
    found = _pick(_NUMBER, content, rng)
    return _odd_at(content, found, rng)


def _odd_token(content: bytes, rng: random.Random) -> bytes:
    found = _pick(_TOKEN, content, rng)
    return _odd_at(content, found, rng)


def _odd_at(content: bytes, found: re.Match[bytes] | None, rng: random.Random) -> bytes:
    if found is None:
        return content
    return _replace(content, *found.span(), rng.choice(ODD_VALUES).encode())


def _odd_value(content: bytes, rng: random.Random) -> bytes:
    """What stands behind an = or : or , on a line becomes something else."""
    lines = content.split(b"\n")
    at = _line(lines, rng)
    for mark in rng.sample((b"=", b",", b":", b";"), 4):
        key, found, _ = lines[at].partition(mark)
        if found:
            lines[at] = key + mark + b" " + rng.choice(ODD_VALUES).encode()
            break
    return b"\n".join(lines)


def _scaled(content: bytes, rng: random.Random) -> bytes:
    found = _pick(_NUMBER, content, rng)
    if found is None or len(found[0]) > 300:
        return content
    value = float(found[0]) * rng.choice((-1.0, 0.0, 0.5, 2.0, 10.0, 1e3, 1e6, 1e12, 1e-6))
    return _replace(content, *found.span(), (f"{value:g}" if rng.random() < 0.7 else f"{value:.0f}").encode())


def _other_date(content: bytes, rng: random.Random) -> bytes:
    found = _pick(_DATE, content, rng)
    return _odd_at(content, found, rng)


def _line(lines: Sequence[bytes], rng: random.Random) -> int:
    near = min(len(lines), 12) if rng.random() < 0.4 else len(lines)
    return rng.randrange(near)


def _lines_changed(content: bytes, rng: random.Random) -> bytes:
    """Lines go, come twice, change places, are joined or cut."""
    lines = content.split(b"\n")
    one, other = _line(lines, rng), _line(lines, rng)
    kind = rng.randrange(8)
    if kind == 0:
        del lines[one]
    elif kind == 1:
        lines.insert(other, lines[one])
    elif kind == 2:
        lines[one], lines[other] = lines[other], lines[one]
    elif kind == 3:
        lines[one : one + 2] = [b"".join(lines[one : one + 2])]
    elif kind == 4:
        lines[one : one + 1] = [lines[one][: len(lines[one]) // 2], lines[one][len(lines[one]) // 2 :]]
    elif kind == 5:
        del lines[min(one, other) : max(one, other)]
    elif kind == 6 and len(lines) < 20_000:
        rng.shuffle(lines)
    else:
        times = rng.choice((2, 10, 1000))
        lines[one : one + 1] = [lines[one]] * min(times, LARGE_BYTES // max(len(lines[one]), 1))
    return b"\n".join(lines)


def _key_twice(content: bytes, rng: random.Random) -> bytes:
    """A line that names something comes again with another value."""
    lines = content.split(b"\n")
    at = _line(lines, rng)
    key, found, value = lines[at].partition(b"=")
    lines.insert(at + 1, key + found + (rng.choice(ODD_VALUES).encode() if found else value))
    return b"\n".join(lines)


def _long_line(content: bytes, rng: random.Random) -> bytes:
    at = _place(content, rng)
    piece = rng.choice((b"x", b",", b" ", b'"', b"[", b"0", b"\xc3\xa9", b"a.", b"=", b"9", b"-", b"'"))
    return _replace(content, at, at, piece * rng.choice((100, 3000, 100_000, 600_000)))


def _nested(content: bytes, rng: random.Random) -> bytes:
    opening, middle, closing = rng.choice(
        ((b"[", b"1", b"]"), (b"{a=", b"1", b"}"), (b'{"a":', b"1", b"}"), (b'"a".', b"b=1", b""))
    )
    deep = rng.choice((5, 90, 1000, 40_000))
    found = _pick(_TOKEN, content, rng)
    begin, end = found.span() if found else (0, 0)
    return _replace(
        content, begin, end, opening * deep + middle + closing * (deep if rng.random() < 0.8 else 0)
    )


def _encoded_otherwise(content: bytes, rng: random.Random) -> bytes:
    text = content.decode("utf-8", "replace")
    kind = rng.choice(
        ("utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "latin-1", "utf-7", "cp037")
    )
    if rng.random() < 0.3:
        return content.replace(b"e", b"\xe9", rng.randint(1, 5))
    return text.encode(kind, "replace")


def _line_ends(content: bytes, rng: random.Random) -> bytes:
    return content.replace(
        b"\n", rng.choice((b"\r\n", b"\r", b"\n\n", b"\x00\n", b"\x85", b"\xe2\x80\xa8", b" ", b""))
    )


def _parted_otherwise(content: bytes, rng: random.Random) -> bytes:
    one, other = rng.sample(
        (b",", b";", b"\t", b"|", b":", b".", b"=", b'"', b"'", b"[", b"]", b"-", b"T", b" "), 2
    )
    return content.replace(one, other, rng.choice((1, 3, -1)))


def _json_value(content: bytes, rng: random.Random) -> bytes:
    """A value, key or list somewhere in a JSON text, changed so that it is still JSON; else as `_odd_token`."""
    try:
        tree = json.loads(content)
    except (ValueError, RecursionError):
        return _odd_token(content, rng)
    for _ in range(rng.randint(1, 3)):
        _change_tree(tree, rng)
    return json.dumps(tree, ensure_ascii=rng.random() < 0.5).encode("utf-8", "surrogatepass")


_JSON_VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 10**30, 10**400, 1e308, -1e308, float("nan"), float("inf"), "", "x", "x" * 5000, "2027-02-30",
    "0001-01-01T00:00:00+00:00", "9999-12-31T23:59:59-12:00", "2027-06-08T16:00", "\x1b[31m", "\u202e", "\ud800", "\n", [], {}, [[]],
    [None], {"a": 1}, [1e308] * 40, 0.5, "nan", 2**63, -(2**63),
)  # fmt: skip


def _change_tree(tree: Any, rng: random.Random) -> None:
    node = tree
    while isinstance(node, dict | list) and node:
        keys = list(node) if isinstance(node, dict) else range(len(node))
        key = rng.choice(keys)
        inner = node[key]
        if isinstance(inner, dict | list) and inner and rng.random() < 0.85:
            node = inner
            continue
        kind = rng.random()
        if kind < 0.7:
            node[key] = rng.choice(_JSON_VALUES)
        elif kind < 0.85:
            del node[key]
        elif isinstance(node, list):
            node.extend(node[: rng.choice((1, 50))])
        else:
            node[f"{key} "] = inner
        return


def _spliced(content: bytes, other: bytes, rng: random.Random) -> bytes:
    begin, end = _span(other, rng, 3000)
    at = _place(content, rng)
    return _replace(content, at, at, other[begin:end])


def _blown_up(content: bytes, rng: random.Random) -> bytes:
    """The file, or a line of it, over and over, to a few MB or more than is read at all."""
    lines = content.split(b"\n")
    piece = rng.choice(
        (content, lines[_line(lines, rng)] + b"\n", b"\n", b"x", b" ", b"[", b"#", b"a=1\n", b",", b'"')
    )
    size = rng.choice((900_000, 5_000_000, 19_000_000, 62_000_000, LARGE_BYTES))
    return (content + piece * (size // max(len(piece), 1)))[:LARGE_BYTES]


_CHANGES: tuple[Mutation, ...] = (
    _bit, _odd_bytes, _noise, _odd_letter, _odd_letter_in_token, _gone, _again, _cut_off, _headless, _odd_number, _odd_number,
    _odd_token, _odd_value, _odd_value, _odd_value, _scaled, _scaled, _other_date, _lines_changed, _lines_changed, _key_twice,
    _long_line, _nested, _encoded_otherwise, _line_ends, _parted_otherwise, _json_value, _json_value,
)  # fmt: skip
