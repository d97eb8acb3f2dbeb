"""The files a plan is written to: which renderer an ending asks for, and what stands in the way of writing it."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from scheduler.errors import UsageError
from scheduler.yard.models import Yard

if TYPE_CHECKING:
    from scheduler.planning.record import Plan

#: A finished file's bytes, and what to tell about it.
Rendering = tuple[bytes, list[str]]
Render = Callable[["Plan", Yard], Rendering]

_ENDINGS: dict[str, tuple[str, ...]] = {
    "sheet": (".pdf", ".png", ".svg", ".txt"),
    "calendar": (".ics",),
    "chart": (".png", ".svg"),
    "json": (),
    "text": (),
}

_PAPERS = ("a4", "us-letter")


def outputs_of(
    targets: Mapping[str, Path | None], paper: str, inputs: Sequence[Path | None], door: Plan | None = None
) -> list[tuple[Path, Render]]:
    """Pick the renderer of each file asked for, before anything is worked out.

    `door` is the plan whose page hangs on the door, for the text of what changes.

    Raises
    ------
    UsageError
        For an ending that cannot be written, a folder that is not there, a file that is read or written for
        something else too, or unknown paper.
    """
    check_paper(paper)
    asked = check_targets(targets, inputs)
    return [
        (path, _renderer(kind, path.suffix.lower().removeprefix("."), paper, door)) for kind, path in asked
    ]


def check_paper(paper: str) -> None:
    """Stop a paper that no page is made for.

    Raises
    ------
    UsageError
    """
    if paper not in _PAPERS:
        msg = f"--paper {paper}: wanted {' or '.join(_PAPERS)}"
        raise UsageError(msg)


def check_targets(
    targets: Mapping[str, Path | None],
    inputs: Sequence[Path | None],
    endings: Mapping[str, tuple[str, ...]] = _ENDINGS,
) -> list[tuple[str, Path]]:
    """Return the files asked for, by kind, if nothing stands in the way of writing them.

    `endings` are those that each kind can be written with; none means any.

    Raises
    ------
    UsageError
        For an ending that cannot be written, a folder that is not there, or a file that is read or written for
        something else too.
    """
    asked = [(kind, path) for kind, path in targets.items() if path is not None]
    taken = {os.path.realpath(path) for path in inputs if path is not None}
    for kind, path in asked:
        try:
            fault = _target_fault(path, endings[kind], taken)
        except OSError as refused:
            fault = f"{refused.strerror}; choose another name"
        if fault:
            msg = f"--{kind} {path}: {fault}"
            raise UsageError(msg)
        taken.add(os.path.realpath(path))
    return asked


def _target_fault(path: Path, endings: tuple[str, ...], taken: set[str]) -> str | None:
    if endings and path.suffix.lower() not in endings:
        return f"wanted a name that ends in {' or '.join(endings)}"
    if not path.parent.is_dir():
        return f"there is no folder {path.parent}; make it first"
    if path.exists() and not path.is_file():
        what = "a folder" if path.is_dir() else "no ordinary file"
        return f"this is {what}; wanted a file's name"
    if os.path.realpath(path) in taken:
        return "this file is read or written for something else too; choose another name"
    return None


def check_text(text: Path | None, door: Path | None) -> None:
    """Stop a message of what changes where there is no page to change.

    Raises
    ------
    UsageError
    """
    if text is not None and door is None:
        msg = (
            "--text tells what changes on the page on the door: give its plan, such as --door door.json, which "
            "--json door.json wrote beside it; the whole page as text is --sheet door.txt"
        )
        raise UsageError(msg)


def _renderer(kind: str, ending: str, paper: str, door: Plan | None) -> Render:
    def sheet(plan: Plan, yard: Yard) -> Rendering:
        from scheduler.sheet.page import page_content
        from scheduler.sheet.pageprint import page_warnings, render_page
        from scheduler.sheet.pagetext import render_text

        content = page_content(plan, yard)
        if ending == "txt":
            return render_text(content).encode(), []
        return render_page(content, ending, paper), page_warnings(content)  # type: ignore[arg-type]

    def calendar(plan: Plan, yard: Yard) -> Rendering:
        from scheduler.sheet.calendar import render_calendar

        return render_calendar(plan, yard), []

    def chart(plan: Plan, yard: Yard) -> Rendering:
        from scheduler.sheet.chart import render_chart

        return render_chart(plan, yard, ending), []  # type: ignore[arg-type]

    def plan_json(plan: Plan, yard: Yard) -> Rendering:
        from scheduler.planning.planjson import render_plan_json

        return render_plan_json(plan, yard).encode(), []

    def text(plan: Plan, yard: Yard) -> Rendering:
        from scheduler.sheet.changes import render_changes

        return ("" if door is None else render_changes(door, plan, yard)).encode(), []

    return {"sheet": sheet, "calendar": calendar, "chart": chart, "json": plan_json, "text": text}[kind]
