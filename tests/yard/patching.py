"""A unified diff applied to its file: by hand, line for line, and by the system's patch where there is one."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

ENDLESS = "\n\\ No newline at end of file\n"


def patched(folder: Path, before: str, diff: str, name: str) -> str:
    """The file after the diff; what the diff says of the lines before must be so."""
    after = _by_hand(before, diff, name)
    if shutil.which("patch"):
        file = folder / name
        file.write_bytes(before.encode())
        done = subprocess.run(["patch", "-p0"], cwd=folder, input=diff.encode(), capture_output=True, check=False)
        assert done.returncode == 0, done.stdout
        assert file.read_bytes().decode() == after
    return after


def _by_hand(before: str, diff: str, name: str) -> str:
    old, new, heads = before.split("\n"), [], 0
    lines = diff.replace(ENDLESS, "\0\n").split("\n")
    assert lines.pop() == "", "the last line of a diff ends"
    assert lines[0].split("\t")[0] == f"--- {name}"
    assert lines[1].split("\t")[0] == f"+++ {name}"
    at = 0
    for line in lines[2:]:
        sign, text = line[0], line[1:]
        if sign == "@":
            first, many = re.match(r"@@ -(\d+)(?:,(\d+))? \+", line).groups("1")  # type: ignore[union-attr]
            begin = int(first) - (many != "0")
            new += old[at:begin]
            at, heads = begin, heads + 1
            continue
        assert sign in " +-", line
        if sign in " -":
            is_last = at == len(old) - 1
            assert old[at] + "\0" * is_last == text, "what the diff takes for the file's line is not it"
            at += 1
        if sign in " +":
            new.append(text)
    assert heads
    new += old[at:]
    if new[-1].endswith("\0"):
        new[-1] = new[-1].removesuffix("\0")
    elif at == len(old):
        new.append("")
    assert not any("\0" in line for line in new)
    return "\n".join(new)
