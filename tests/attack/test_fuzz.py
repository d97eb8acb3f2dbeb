"""Spoilt files in numbers: a thousand with the slow tests, 20 000 in the night."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from tests.cli_yard import ROOT


def attack(module: str, cases: int, seed: int) -> str:
    """Run one of the attacks in a process of its own; what it prints."""
    done = subprocess.run(
        [sys.executable, "-m", f"tests.attack.{module}", "--cases", str(cases), "--seed", str(seed)],
        cwd=ROOT,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.mark.slow
def test_a_thousand_spoilt_files_are_read_or_refused_in_plain_words() -> None:
    assert "1000 cases, 0 with a fault" in attack("fuzz", 1000, 12)


@pytest.mark.slow
def test_forty_commands_on_spoilt_files_end_in_an_answer_or_a_refusal() -> None:
    assert "40 commands, 0 with a fault" in attack("commands", 40, 11)


@pytest.mark.deep
def test_20_000_spoilt_files_are_read_or_refused_in_plain_words() -> None:
    assert "20000 cases, 0 with a fault" in attack("fuzz", 20_000, 1)


@pytest.mark.deep
def test_600_commands_on_spoilt_files_end_in_an_answer_or_a_refusal() -> None:
    assert "600 commands, 0 with a fault" in attack("commands", 600, 1)
