"""Programs that stand in CBC's place and fail in the ways in which solvers fail."""

from __future__ import annotations

import shlex
from pathlib import Path

import pulp
import pytest

#: CBC is called with its solution file as the last word.
ANSWER_GOES_TO = 'for last in "$@"; do :; done'


def put_in_place_of_cbc(monkeypatch: pytest.MonkeyPatch, path: Path) -> None:
    monkeypatch.setattr(pulp.PULP_CBC_CMD, "pulp_cbc_path", str(path))


def stub(folder: Path, script: str) -> Path:
    path = folder / "cbc-stub"
    path.write_text(f"#!/bin/sh\n{script}\n")
    path.chmod(0o755)
    return path


def answering(folder: Path, answer: str) -> Path:
    """A solver that gives this answer to whatever it is asked."""
    return stub(folder, f'{ANSWER_GOES_TO}\nprintf %s {shlex.quote(answer)} > "$last"')


def columns(*values: object) -> str:
    """Values of the first columns, as CBC writes them."""
    return "".join(f"{n:7d} X{n:07d} {value:>15} {0:>23}\n" for n, value in enumerate(values))
