"""The lowest version of every dependency that pyproject.toml allows, as constraints for pip.

``python3 tests/lowest_versions.py > lowest.txt`` needs nothing but Python. A dependency without a lower bound is
refused: what is not bounded cannot be tried.
"""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path

PYPROJECT = Path(__file__).parents[1] / "pyproject.toml"


def lower_bounds(requirements: list[str]) -> dict[str, str]:
    """By name the version after ``>=``."""
    bounds = {}
    for requirement in requirements:
        bounded = re.fullmatch(r"([\w.-]+)>=([\w.]+)(,\s*<[\w.]+)?", requirement.replace(" ", ""))
        if bounded is None:
            msg = f"{requirement}: wanted a lower bound, and at most an upper one, such as pandas>=3,<4"
            raise ValueError(msg)
        bounds[bounded[1]] = bounded[2]
    return bounds


def lowest_constraints(pyproject: str) -> str:
    """Pin everything that the program itself depends on to its lower bound, a line each."""
    bounds = lower_bounds(tomllib.loads(pyproject)["project"]["dependencies"])
    return "".join(f"{name}=={version}\n" for name, version in bounds.items())


if __name__ == "__main__":
    sys.stdout.write(lowest_constraints(PYPROJECT.read_text(encoding="utf-8")))
