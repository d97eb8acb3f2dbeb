"""Who may import whom, what waits until it is needed, and how modules and names are kept readable."""

from __future__ import annotations

import ast
import dataclasses
import importlib
import inspect
import pkgutil
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest
from pydantic import BaseModel

import scheduler

PACKAGE = Path(scheduler.__file__).parent
ROOT = PACKAGE.parent
MODULES = sorted(PACKAGE.rglob("*.py"))

HEAVY = ("pvlib", "pandas", "numpy", "pulp", "highspy", "matplotlib", "typst", "scipy", "icalendar")

#: From the bottom up: nothing imports what stands further along.
LAYERS = (
    ("errors", "units", "timegrid", "writing"),
    ("yard",),
    ("sun",),
    ("charging",),
    ("planning",),
    ("logbook",),
    ("studies",),
    ("checkup",),
    ("sheet",),
    ("commands",),
    ("cli",),
)

#: What only one part of the house talks to.
KEPT_TO = {
    "pulp": "planning",
    "highspy": "planning",
    "pvlib": "sun",
    "requests": "sun",
    "urllib3": "sun",
    "typer": "cli",
    "typst": "sheet",
    "matplotlib": "sheet",
    "icalendar": "sheet",
    "tomli": "yard",
}

#: Endings that say what a number is counted in; as a name of their own too.
UNITS = {
    "wh", "kwh", "w", "panel_w", "h", "days", "hours", "hours_per_day", "s", "seconds", "minutes", "pct", "fraction",
    "efficiency", "deg", "latitude", "longitude", "m", "c", "per_c", "a", "awg", "mm2", "ah", "v", "volts", "watts",
    "m3", "per_h", "per_kwh", "litres", "km", "miles", "wh_per_km", "wh_per_mile", "wh_m2", "w_m2", "m_s", "steps",
    "m2", "kg", "n", "coefficient", "pa", "ohm", "months",
}  # fmt: skip

#: Numbers that have no unit, or that of what they belong to, and what they are.
UNITLESS = {
    "scheduler.checkup.inputcase.Passed.found": "in the unit of its limit",
    "scheduler.checkup.inputcase.Passed.allowed": "in the unit of its limit",
    "scheduler.checkup.findings.Figure.value": "in the unit beside it",
    "scheduler.checkup.findings.Figure.limit": "in the unit beside it",
    "scheduler.checkup.findings.Finding.found": "in the unit beside it",
    "scheduler.checkup.findings.Finding.limit": "in the unit beside it",
    "scheduler.charging.curve.ChargeCurve.taper_from": "a fraction, named as in the fleet file",
    "scheduler.logbook.beliefs.Belief.sun_place_deviations": "in standard deviations",
    "scheduler.logbook.learned.Figure.in_file": "in the unit beside it",
    "scheduler.logbook.learned.Figure.value": "in the unit beside it",
    "scheduler.logbook.learned.Figure.low": "in the unit beside it",
    "scheduler.logbook.learned.Figure.high": "in the unit beside it",
    "scheduler.logbook.skyseen.Told.lean_deviations": "in standard deviations",
    "scheduler.logbook.skyseen.Told.lean_variance": "in those, squared",
    "scheduler.planning.linear.LinearModel.lower": "in the units of the columns",
    "scheduler.planning.linear.LinearModel.upper": "in the units of the columns",
    "scheduler.planning.linear.LinearModel.row_lower": "in the units of the rows",
    "scheduler.planning.linear.LinearModel.row_upper": "in the units of the rows",
    "scheduler.planning.linear.LinearModel.factors": "rows' units over columns' units",
    "scheduler.planning.asking.Answered.bound": "in the unit of the aim",
    "scheduler.planning.prices.Prices.bound": "in the unit of the aim",
    "scheduler.planning.prices.Prices.by_row": "objective over the row's right side",
    "scheduler.planning.prices.Prices.by_variable": "objective over the variable",
    "scheduler.planning.prices.Prices.optimum": "in the units of the model's variables",
    "scheduler.planning.record.Aim.value": "in the unit of the aim",
    "scheduler.planning.record.Aim.gap": "relative",
    "scheduler.planning.record.Violation.amount": "in the unit of the rule",
    "scheduler.planning.replay_physics.Charger.taper_from": "a fraction, named as in the fleet file",
    "scheduler.planning.replay_physics.Charger.fall": "a fraction lost per fraction",
    "scheduler.planning.relaxation.Relaxed.bound": "in the unit of the aim",
    "scheduler.planning.relaxation.Relaxed.passed": "in the unit of the aim",
    "scheduler.planning.relaxation.Relaxed.costs": "in the unit of the aim",
    "scheduler.planning.solve.Solution.values": "in the units of the model's variables",
    "scheduler.planning.solve.Solution.objective": "in the unit of the aim",
    "scheduler.planning.solve.Solution.bound": "in the unit of the aim",
    "scheduler.planning.stages.Stage.told_by": "from what is minimised to what is told",
    "scheduler.planning.stages.Weights.met": "a weight",
    "scheduler.planning.stages.Weights.changes": "a weight",
    "scheduler.studies.worstmonth.Step.value": "in the unit beside it",
    "scheduler.studies.worstmonth.WorstMonth.array_ratio": "a ratio of energies",
    "scheduler.sheet.strip.Run.start": "a fraction of the strip",
    "scheduler.sheet.strip.Run.end": "a fraction of the strip",
    "scheduler.sheet.strip.Mark.at": "a fraction of the strip",
    "scheduler.sheet.strip.Label.at": "a fraction of the strip",
    "scheduler.sheet.strip.Strip.visits": "fractions of the strip",
    "scheduler.sheet.strip.Strip.dull": "fractions of the strip and of the bank",
    "scheduler.sheet.strip.Strip.likely": "fractions of the strip and of the bank",
    "scheduler.sun.ongrid.HoursOnGrid.level_share": "fractions of an hour's weather",
    "scheduler.sun.ongrid.HoursOnGrid.beam_share": "fractions of an hour's weather",
}


def imports_of(path: Path) -> Iterator[str]:
    """Every module that is imported, wherever in the file; not those that only types need."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for_types = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if id(node) in for_types:
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: a relative import"
            yield node.module or ""


def part_of(path: Path) -> str:
    """``planning`` for scheduler/planning/model.py, ``units`` for scheduler/units.py."""
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def layer_of(part: str) -> int:
    found = [number for number, parts in enumerate(LAYERS) if part in parts]
    assert found, f"{part}: a new part of the house; give it its layer here and in DEVELOPERS.md"
    return found[0]


def by_name(path: Path) -> str:
    return str(path.relative_to(PACKAGE))


@pytest.mark.parametrize(
    "words", [("--help",), ("plan", "--help"), ("new", "--help"), ("year", "--help"), ("--version",)], ids=" ".join
)
def test_help_waits_for_no_heavy_library(words: tuple[str, ...]) -> None:
    script = (
        "import sys\n"
        f"sys.argv = ['sunroster', *{words!r}]\n"
        "from scheduler.cli.app import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code, end.code\n"
        f"print('LOADED', sorted(set({HEAVY!r}) & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.splitlines()[-1] == "LOADED []"


@pytest.mark.parametrize(
    "path", [path for path in MODULES if path.parent != PACKAGE or "__" not in path.name], ids=by_name
)
def test_nothing_imports_what_stands_above_it(path: Path) -> None:
    own = layer_of(part_of(path))
    for name in imports_of(path):
        top, *inner = name.split(".")
        if top == "scheduler" and inner:
            assert layer_of(inner[0]) <= own, f"{by_name(path)} imports {name}"


@pytest.mark.parametrize("path", MODULES, ids=by_name)
def test_each_library_is_talked_to_by_one_part_only(path: Path) -> None:
    for name in imports_of(path):
        keeper = KEPT_TO.get(name.split(".")[0])
        assert keeper in (None, part_of(path)), f"{by_name(path)} imports {name}"


def test_yard_sheet_and_the_quick_look_never_lead_to_pulp() -> None:
    script = (
        "import sys, scheduler.yard.fleetfile, scheduler.yard.agenda, scheduler.sheet.screen, scheduler.sheet.page\n"
        "import scheduler.sheet.words, scheduler.sheet.calendar, scheduler.sheet.chart\n"
        "from pathlib import Path\n"
        "from scheduler.checkup.study import quick_stops\n"
        "quick_stops(scheduler.yard.fleetfile.read_yard(Path('fleets/field-edge.toml')))\n"
        "print(sorted({'pulp', 'highspy', 'pvlib', 'scipy'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout == "[]\n"


@pytest.mark.parametrize("path", MODULES, ids=by_name)
def test_no_module_is_over_400_lines(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


def test_there_is_no_room_for_odds_and_ends() -> None:
    assert not [path for path in MODULES if path.stem in {"utils", "util", "common", "helpers", "misc"}]


def _modules() -> list[ModuleType]:
    names = [found.name for found in pkgutil.walk_packages(scheduler.__path__, "scheduler.")]
    return [importlib.import_module(name) for name in names if not name.endswith("__main__")]


@pytest.mark.parametrize("module", _modules(), ids=lambda module: module.__name__)
def test_everything_public_says_what_it_is(module: ModuleType) -> None:
    assert inspect.getdoc(module)
    for name, thing in vars(module).items():
        is_own = getattr(thing, "__module__", None) == module.__name__
        if name.startswith("_") or not is_own or not (inspect.isclass(thing) or inspect.isfunction(thing)):
            continue
        assert thing.__doc__, f"{module.__name__}.{name} has no docstring"
        for inner, member in vars(thing).items() if inspect.isclass(thing) else ():
            function = getattr(member, "fget", None) or getattr(member, "__func__", member)
            if inspect.isfunction(function) and not inner.startswith("_"):
                assert function.__doc__, f"{module.__name__}.{name}.{inner} has no docstring"


#: How the types of numbers are written.
NUMBERS = re.compile(r"\b(float|FloatArray|Number|Positive|NotNegative|Pct\w*|PositivePct|Losses)\b")


def _records() -> list[type]:
    """Every dataclass and every table of the fleet file."""
    things = [(module, thing) for module in _modules() for thing in vars(module).values()]
    return [
        thing
        for module, thing in things
        if inspect.isclass(thing)
        and thing.__module__ == module.__name__
        and not thing.__name__.startswith("_")
        and (dataclasses.is_dataclass(thing) or issubclass(thing, BaseModel))
    ]


@pytest.mark.parametrize("record", _records(), ids=lambda record: f"{record.__module__}.{record.__name__}")
def test_every_number_has_its_unit_in_its_name(record: type) -> None:
    """Whole numbers count or point at something and need none; fractions of one are told by their name."""
    for field, kind in _own_annotations(record).items():
        place = f"{record.__module__}.{record.__name__}.{field}"
        if NUMBERS.search(kind) and place not in UNITLESS:
            endings = {field, *(field[at + 1 :] for at, letter in enumerate(field) if letter == "_")}
            assert endings & UNITS, f"{place}: a number without a unit"


def test_the_numbers_without_a_unit_are_still_there() -> None:
    known = {
        f"{record.__module__}.{record.__name__}.{field}"
        for record in _records()
        for field in _own_annotations(record)
    }
    assert not UNITLESS.keys() - known


def _own_annotations(record: type) -> dict[str, str]:
    return {field: str(kind) for field, kind in vars(record).get("__annotations__", {}).items()}
