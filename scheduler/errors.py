"""What can go wrong, and the exit code each branch carries.

::

    SunrosterError                    1   anything below; a bare one is a bug
    ├── UsageError                    2   flags that do not go together, a time outside the plan
    ├── InputError                    3   a file that cannot be used
    │   ├── FleetFileError            3   every mistake of the fleet file, told in one go
    │   ├── WeatherFileError          3   forecast or typical year
    │   ├── LogbookError              3   a logbook that is no logbook at all
    │   └── SavedPlanError            3   a plan saved earlier that cannot be used
    ├── FetchError                    3   no forecast could be fetched; whoever asked goes on to the next best
    ├── ReplayRefused                 5   the replay found a violation; the case is saved, no plan is shown
    └── OutputError                   6   a file could not be written

0 is a plan, 130 is Ctrl-C. The codes are part of the command's contract and stand in the README.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from pathlib import Path

#: So many letters of a message are told; what is longer has its middle left out, for its end says what to do.
LONGEST_TOLD = 800

_TURNS_READING = frozenset(("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"))


def is_plain(letter: str) -> bool:
    """Whether a letter stays on its line, turns no reading direction, commands no terminal, and can be encoded."""
    is_marked = unicodedata.category(letter) in ("Cc", "Zl", "Zp", "Cs")
    return not is_marked and unicodedata.bidirectional(letter) not in _TURNS_READING


def told_plainly(text: str) -> str:
    """Text out of a file or a flag as it goes into a message: on one line, harmless, and not too long."""
    half = LONGEST_TOLD // 2
    shown = text if len(text) <= LONGEST_TOLD else f"{text[:half]} ... {text[-half:]}"
    return shown if shown.isprintable() else "".join(letter if is_plain(letter) else "?" for letter in shown)


class SunrosterError(Exception):
    """Root of all errors this program raises on purpose."""

    exit_code = 1


class UsageError(SunrosterError):
    """The command was asked for something that cannot be."""

    exit_code = 2


class InputError(SunrosterError):
    """A file that cannot be used; `problems` holds one line for each mistake.

    Parameters
    ----------
    path : Path
        The file.
    problems : sequence of str
        One finished line a mistake, without the file's name in front; told plainly.
    """

    exit_code = 3

    def __init__(self, path: Path, problems: Sequence[str]) -> None:
        self.path = path
        self.problems = tuple(told_plainly(problem) for problem in problems)
        name = told_plainly(str(path))
        super().__init__("\n".join(f"{name}: {problem}" for problem in self.problems))


class FleetFileError(InputError):
    """Mistakes in a fleet file."""


class WeatherFileError(InputError):
    """Mistakes in a forecast or typical-year file."""


class LogbookError(InputError):
    """A logbook that cannot be read as a whole; lines that cannot be read are told beside those that can."""


class SavedPlanError(InputError):
    """A plan saved earlier that is none, or of another yard."""


class FetchError(SunrosterError):
    """No forecast could be fetched; `saved` is one fetched earlier that still serves, if there is any."""

    exit_code = 3

    def __init__(self, message: str, saved: Path | None = None) -> None:
        super().__init__(message)
        self.saved = saved


class ReplayRefused(SunrosterError):
    """The independent replay found violations: nothing is shown, the case lies in `case_path`.

    Parameters
    ----------
    violations : sequence of str
        One line each.
    case_path : Path or None
        Where plan and yard were saved; None where that could not be done.
    """

    exit_code = 5

    def __init__(self, violations: Sequence[str], case_path: Path | None) -> None:
        self.violations = tuple(violations)
        self.case_path = case_path
        shown = [f"  {violation}" for violation in self.violations[:_MOST_SHOWN]]
        if len(self.violations) > _MOST_SHOWN:
            shown.append(f"  and {len(self.violations) - _MOST_SHOWN} more")
        saved = (
            "the case could not be saved here: run it in a folder that can be written to"
            if case_path is None
            else f"plan and yard are saved in {case_path}: send that file to whoever keeps this program"
        )
        super().__init__(
            "\n".join(
                (
                    "the plan is not shown, for the replay does not confirm it:",
                    *shown,
                    f"This is a fault of the program, not of your files; {saved}.",
                    "Until it is mended another step or a shorter plan may do: --step 30, --step 15, --hours 24.",
                )
            )
        )


_MOST_SHOWN = 10


class OutputError(SunrosterError):
    """A file could not be written; nothing half-written is left behind."""

    exit_code = 6
