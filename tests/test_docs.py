"""README.md and DEVELOPERS.md say what is so: commands, flags, codes, fields, files, and what the demo prints.

``python -m tests.test_docs`` runs the README's commands and puts what they print, and the page that the first one
makes, in their places; with ``slowly`` those that live a year too, which takes minutes.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from io import BytesIO
from itertools import product
from pathlib import Path
from typing import Any

import pytest
import typer
from PIL import Image, PngImagePlugin

from scheduler.cli.app import app
from scheduler.commands.plan import PlanRequest, plan_yard
from scheduler.errors import SunrosterError
from scheduler.planning.planjson import plan_to_json
from scheduler.planning.record import AimStatus, IfAtLeast, ReplayReport, Violation
from scheduler.sun.forecastfile import LIMITS
from scheduler.sun.weather import read_weather
from scheduler.yard.clock import WEEKDAYS
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.mistakes import HEADINGS
from scheduler.yard.models import Yard
from scheduler.yard.notes import yard_notes
from tests.sheet import sample

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
PICTURE = ROOT / "fleets" / "field-edge-page.png"
PICTURE_WIDTH = 900

#: The demo's output as it stands in the README.
SHOWN = re.compile(r"(?<=<!-- demo -->\n```text\n).*?(?=```\n<!-- /demo -->)", re.DOTALL)

#: Other commands and their output: ``<!-- shown: sunroster ... -->``, or ``shown slowly`` where it takes minutes.
OTHERS = re.compile(
    r"(?P<before><!-- shown(?P<slowly> slowly)?: sunroster (?P<words>[^\n]*) -->\n```text\n)(?P<text>.*?)(?=```\n)",
    re.DOTALL,
)

#: Files that a text only speaks of: what the reader makes, and what other projects have.
MADE_BY_THE_READER = {
    "my-yard.toml",
    "my-forecast.csv",
    "door.pdf",
    "field-edge-logbook.csv",
    "fleets/field-edge-logbook.csv",
}


def readme() -> str:
    return README.read_text(encoding="utf-8")


def developers() -> str:
    return DEVELOPERS.read_text(encoding="utf-8")


def blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.DOTALL | re.MULTILINE)


def table_under(text: str, heading: str) -> list[list[str]]:
    """The rows of the first table whose heading begins with `heading`, as cells."""
    lines = text[text.index(f"\n| {heading} |") + 1 :].split("\n\n")[0].splitlines()
    return [
        [cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:] if line.startswith("|")
    ]


def coded(text: str) -> list[str]:
    """Everything between single backticks, fenced blocks left out."""
    return re.findall(r"`([^`\n]+)`", re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE))


# ---- the demo ------------------------------------------------------------------------------------


def demo_arguments() -> list[str]:
    """The arguments of the README's first command, behind the program's name."""
    command = shlex.split(blocks(readme(), "sh")[0])
    return command[command.index(".venv/bin/sunroster") + 1 :]


def run_demo(page: Path) -> str:
    """Run the demo as the README does; its page goes to a file."""
    return run([*demo_arguments(), "--sheet", str(page)])


def run(arguments: list[str]) -> str:
    """Run the program on 80 columns, piped."""
    keep = {name: value for name, value in os.environ.items() if "COLOR" not in name and "TTY" not in name}
    done = subprocess.run(
        [sys.executable, "-m", "scheduler", *arguments],
        cwd=ROOT,
        env={**keep, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8"},
        capture_output=True,
        check=True,
        text=True,
        encoding="utf-8",
    )
    return "".join(f"{line.rstrip()}\n" for line in done.stdout.splitlines())


def masked(printed: str) -> str:
    """The output without what differs from run to run: how long the solvers took."""
    return re.sub(r"\b\d+\.\d s\b", "0.0 s", printed)


def digest(printed: str) -> str:
    return hashlib.sha256(masked(printed).encode()).hexdigest()


def small_picture(page: Path, printed: str) -> bytes:
    """The page as a small grey picture that carries which output it belongs to."""
    with Image.open(page) as whole:
        height = round(whole.height * PICTURE_WIDTH / whole.width)
        small = whole.convert("L").resize((PICTURE_WIDTH, height), Image.Resampling.LANCZOS)
    small = small.point(lambda level: 85 * round(level / 85)).quantize(4, dither=Image.Dither.NONE)
    about = PngImagePlugin.PngInfo()
    about.add_text("output", digest(printed))
    out = BytesIO()
    small.save(out, "PNG", optimize=True, pnginfo=about)
    return out.getvalue()


def others(*, slowly: bool) -> dict[str, str]:
    """The README's other commands, without the program's name, and what stands below each."""
    return {
        found["words"]: found["text"]
        for found in OTHERS.finditer(readme())
        if bool(found["slowly"]) == slowly
    }


@pytest.mark.parametrize("words", others(slowly=False))
def test_what_a_command_prints_is_what_the_readme_shows(words: str) -> None:
    told = "if it was changed on purpose, python -m tests.test_docs renews the README"
    assert masked(run(shlex.split(words))) == masked(others(slowly=False)[words]), told


@pytest.mark.deep
@pytest.mark.parametrize("words", others(slowly=True))
def test_what_a_lived_year_prints_is_what_the_readme_shows(words: str) -> None:
    told = "if it was changed on purpose, python -m tests.test_docs slowly renews the README"
    assert masked(run(shlex.split(words))) == masked(others(slowly=True)[words]), told


def rewrite_others(*, slowly: bool) -> None:
    """Put what the other commands print in their places."""

    def renewed(found: re.Match[str]) -> str:
        as_it_is = bool(found["slowly"]) and not slowly
        return found["before"] + (found["text"] if as_it_is else run(shlex.split(found["words"])))

    README.write_text(OTHERS.sub(renewed, readme()), encoding="utf-8")


def rewrite_demo(page: Path) -> None:
    """Put the demo's output and the picture of its page in their places."""
    printed = run_demo(page)
    README.write_text(SHOWN.sub(lambda _: printed, readme()), encoding="utf-8")
    PICTURE.write_bytes(small_picture(page, printed))


def test_the_demo_prints_what_the_readme_shows(tmp_path: Path) -> None:
    (shown,) = SHOWN.findall(readme())
    told = "if the demo was changed on purpose, python -m tests.test_docs renews the README"
    assert masked(run_demo(tmp_path / "page.png")) == masked(shown), told


def test_the_picture_is_of_the_plan_that_the_readme_shows() -> None:
    (shown,) = SHOWN.findall(readme())
    with Image.open(PICTURE) as picture:
        assert picture.width == PICTURE_WIDTH
        assert picture.info["output"] == digest(shown), "python -m tests.test_docs renews the picture"
    assert f"]({PICTURE.relative_to(ROOT).as_posix()})" in readme()


# ---- commands, flags, exit codes -----------------------------------------------------------------


def commands() -> dict[str, Any]:
    return typer.main.get_command(app).commands  # type: ignore[attr-defined]


def flags_of(command: Any) -> set[str]:
    return {name for parameter in command.params for name in parameter.opts if name.startswith("--")} - {
        "--help"
    }


def test_every_command_is_in_the_readme() -> None:
    assert {name for name in commands() if f"`sunroster {name} FILE`" in readme()} == set(commands())


def test_the_table_of_flags_is_that_of_the_command() -> None:
    rows = table_under(readme(), "flag | what it does")
    assert {coded(flag)[0].split()[0] for flag, _ in rows} == flags_of(commands()["plan"])
    assert len(rows) == len(flags_of(commands()["plan"]))


def test_the_readme_names_every_other_flag_and_none_that_is_not_there() -> None:
    whole = typer.main.get_command(app)
    known = {
        "--help",
        *flags_of(whole),
        *(flag for command in commands().values() for flag in flags_of(command)),
    }
    assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", readme())) == known


def error_codes(branch: type[SunrosterError] = SunrosterError) -> Iterator[int]:
    yield branch.exit_code
    for child in branch.__subclasses__():
        yield from error_codes(child)


def test_the_exit_codes_are_those_of_the_errors_and_done_and_ctrl_c() -> None:
    rows = table_under(readme(), "exit code | meaning")
    assert [int(code) for code, _ in rows] == sorted({0, 130, *error_codes()})


# ---- the JSON ------------------------------------------------------------------------------------


def full_plan_json() -> dict[str, Any]:
    """A plan in which no list is empty and nothing that may be there is null."""
    plan = sample.field_plan(
        replay=ReplayReport((Violation("R4", 3, 12.0, "made up"),), 12.0), notes=("a note",)
    )
    visits = list(plan.visits)
    visits[2] = replace(
        visits[2],
        if_at_least=(IfAtLeast(71, "two-wheel tractor", "C", (30, 32)),),
        unplug=tuple(replace(action, timer=(30, 32)) for action in visits[2].unplug),
    )
    return plan_to_json(replace(plan, visits=tuple(visits)), sample.field_yard())


def paths(value: Any, path: str = "") -> Iterator[str]:
    """Every field with a value of its own, lists as []."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield from paths(item, f"{path}.{key}" if path else key)
    elif isinstance(value, list) and any(isinstance(item, dict) for item in value):
        for item in value:
            yield from paths(item, f"{path}[]")
    else:
        yield path


def with_braces_opened(field: str) -> list[str]:
    """``a.{b,c}`` as ``a.b`` and ``a.c``."""
    parts = [part.strip("{}").split(",") for part in re.split(r"(\{[^}]*\})", field) if part]
    return ["".join(choice) for choice in product(*parts)]


def test_the_json_fields_listed_are_those_of_a_plan() -> None:
    rows = table_under(readme(), "field | content")
    listed = [field for cell, _ in rows for told in coded(cell) for field in with_braces_opened(told)]
    assert len(listed) == len(set(listed))
    written = set(paths(full_plan_json()))
    # What holds tables is empty or null where there are none; what counts are the tables' own fields.
    parents = {path[: dot.start()] for path in written for dot in re.finditer(r"\.", path)}
    holds_tables = {*parents, *(parent.removesuffix("[]") for parent in parents)}
    assert set(listed) - holds_tables == written - holds_tables


# ---- files, keys, columns ------------------------------------------------------------------------


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=lambda path: path.name)
def test_every_file_that_a_document_names_is_there(document: Path) -> None:
    text = document.read_text(encoding="utf-8")
    rooted = re.findall(r"(?<![\w/.-])(?:scheduler|tests|fleets|forecasts|\.ci)/[\w./-]*[\w/]", text)
    plain = [name for name in coded(text) if re.fullmatch(r"[\w-]+\.(toml|csv|md|pdf)", name)]
    named = {*rooted, *plain} - MADE_BY_THE_READER
    assert named
    assert [name for name in sorted(named) if not (ROOT / name).exists()] == []


def test_every_needed_key_is_in_the_readme() -> None:
    needed = {
        key for model in HEADINGS for key, field in model.model_fields.items() if field.is_required()
    } - {"between", "lost_pct"}  # needed only in a shade, which no yard needs
    rows = table_under(readme(), "table | key | where to find it")
    assert needed <= {key for _, cell, _ in rows for key in coded(cell)}


def test_every_key_that_the_readme_names_is_one_of_a_fleet_file() -> None:
    known = {key for model in HEADINGS for key in model.model_fields}
    told = readme()[readme().index("## Your own yard") : readme().index("## The weather")]
    keys = {name for name in coded(told) if re.fullmatch(r"[a-z]+(_[a-z]+)+", name)}
    assert keys
    assert keys <= known


def test_the_table_of_columns_is_that_of_the_reader() -> None:
    rows = table_under(readme(), "column | what it is")
    assert {name for cell, _ in rows for name in coded(cell)} == {"time", *LIMITS}


# ---- a reader's own yard -------------------------------------------------------------------------


@pytest.fixture
def readers_yard(tmp_path: Path) -> tuple[Path, Yard]:
    (text,) = blocks(readme(), "toml")
    file = tmp_path / "my-yard.toml"
    file.write_text(text, encoding="utf-8")
    return file, read_yard(file)


def test_the_yard_in_the_readme_plans_clean(readers_yard: tuple[Path, Yard]) -> None:
    file, yard = readers_yard
    assert yard_notes(yard) == ()
    request = PlanRequest(
        fleet=file,
        now=dt.datetime(2027, 6, 8, 12, tzinfo=dt.UTC),
        weather=ROOT / "forecasts" / "greensboro-tmy3.csv",
        start="2027-06-08 18:00",
    )
    plan = plan_yard(yard, request, lambda what, done: None)
    assert plan.replay is not None
    assert plan.replay.violations == ()
    assert all(aim.status is AimStatus.PROVEN for aim in plan.aims)
    needs = [need for machine in plan.machines for need in machine.needs]
    assert len(needs) == 3
    assert all(need.ready for need in needs)


def test_the_forecast_in_the_readme_is_read_without_complaint(
    tmp_path: Path, readers_yard: tuple[Path, Yard]
) -> None:
    (text,) = blocks(readme(), "csv")
    file = tmp_path / "my-forecast.csv"
    file.write_text(text, encoding="utf-8")
    weather = read_weather(file, readers_yard[1].site)
    assert weather.begins == dt.datetime(2027, 6, 9, 10, tzinfo=dt.UTC)
    assert weather.ends == dt.datetime(2027, 6, 9, 14, tzinfo=dt.UTC)


# ---- DEVELOPERS.md -------------------------------------------------------------------------------


def test_every_module_of_the_house_has_its_line_and_no_other() -> None:
    inside = ROOT / "scheduler"
    modules = {
        path.relative_to(ROOT).as_posix()
        for path in inside.rglob("*")
        if path.suffix in {".py", ".typ", ".toml"} and path.name != "__init__.py"
    }
    assert {
        cell for row in table_under(developers(), "module | what it is") for cell in coded(row[0])
    } == modules


def test_every_rule_says_where_it_is_modelled_replayed_and_tested() -> None:
    rows = table_under(developers(), "rule | modelled | replayed | tested")
    assert [row[0] for row in rows] == [f"R{number}" for number in range(1, 13)]
    assert all(len(row) == 4 and all(row) for row in rows)
    for number in range(1, 13):
        assert f"\n- **R{number} " in developers()


def test_every_unit_ending_is_on_the_page_of_names() -> None:
    endings = [ending for row in table_under(developers(), "ending | unit") for ending in coded(row[0])]
    bare = set(
        coded(next(line for line in developers().splitlines() if line.startswith("Without an ending")))
    )
    figures = {
        key
        for model in HEADINGS
        for key, field in model.model_fields.items()
        if re.search(r"\b(float|int)\b", str(field.annotation)) and "Moment" not in str(field.annotation)
    }
    times = {"between", "window", "times", "ready_by", *WEEKDAYS}
    names = {*figures, *LIMITS} - times
    assert sorted(name for name in names - bare if not name.endswith(tuple(endings))) == []
    assert all(any(name.endswith(ending) for name in names) for ending in endings)


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        rewrite_demo(Path(folder) / "page.png")
    rewrite_others(slowly="slowly" in sys.argv[1:])
