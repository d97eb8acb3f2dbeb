"""What the wheel asks for: every library that the package imports, each with a lower bound that can be tried."""

from __future__ import annotations

import ast
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

import scheduler
from tests.lowest_versions import PYPROJECT, lower_bounds, lowest_constraints

PACKAGE = Path(scheduler.__file__).parent

#: Comes with what asks for it, in the one version that this wants.
BROUGHT = {"pydantic-core": "pydantic"}


def imported() -> Iterator[str]:
    """The first part of every module that the package imports, wherever."""
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                yield from (alias.name.partition(".")[0] for alias in node.names)
            elif isinstance(node, ast.ImportFrom) and node.module:
                yield node.module.partition(".")[0]


def test_every_library_that_is_imported_is_asked_for() -> None:
    project = tomllib.loads(PYPROJECT.read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["cluster"]]
    asked = {name.lower() for name in lower_bounds(wanted)}
    distributions = packages_distributions()
    used = {
        name.lower().replace("_", "-")
        for module in set(imported()) - set(sys.stdlib_module_names) - {"scheduler"}
        for name in distributions[module]
    }
    assert {BROUGHT.get(name, name) for name in used} <= asked


def test_constraints_are_the_lower_bounds() -> None:
    text = '[project]\ndependencies = ["pandas>=3,<4", "tzdata>=2025.3"]\n'
    assert lowest_constraints(text) == "pandas==3\ntzdata==2025.3\n"


@pytest.mark.parametrize("unbounded", ["pandas", "pandas<4", "pandas~=3.0", "pandas==3.0"])
def test_a_dependency_without_a_lower_bound_is_refused(unbounded: str) -> None:
    with pytest.raises(ValueError, match="wanted a lower bound"):
        lower_bounds([unbounded])


def test_the_projects_own_dependencies_can_all_be_tried() -> None:
    assert lowest_constraints(PYPROJECT.read_text(encoding="utf-8")).count("==") >= 15
