"""The command ``sunroster check``: whether the yard's own wiring lets a plan happen."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated

import typer

from scheduler.cli.flags import FleetFile
from scheduler.cli.telling import drawn, errors_told, progress, tell_beside


def check(
    fleet: FleetFile,
    weather: Annotated[
        Path | None,
        typer.Option(
            "--weather",
            help="Typical year (TMY3, TMY2, EPW, PVGIS). Without it: the fleet file's typical_year; without that, "
            "what hangs on the weather is left out.",
        ),
    ] = None,
    sheet: Annotated[
        Path | None, typer.Option("--sheet", help="Write a page for the folder: .pdf, .png or .svg.")
    ] = None,
    paper: Annotated[str, typer.Option("--paper", help="Paper of the page: a4 or us-letter.")] = "a4",
    json: Annotated[
        Path | None, typer.Option("--json", help="Write it for other programs (sunroster.check/1).")
    ] = None,
) -> None:
    """Check whether the yard's panels, wires, outlets, inverter, bank, roof and batteries let a plan happen.

    Run it before the first plan, and whenever something is added. It tells stops (something can break or burn, or no
    plan is possible), warnings and notes, each with the figure found, its limit, the published rule behind it, what it
    means and what would mend it. What it could not check it says, with the keys of the fleet file that would let it.
    The exit code is 0 with findings too.

    It is no inspection: local codes and licensed practice come first.

    Example: sunroster check my-yard.toml --sheet check.pdf
    """
    with errors_told():
        from scheduler.commands.check import CheckRequest, check_over, checkup_to_json, read_checked_yard
        from scheduler.commands.outputs import check_paper, check_targets
        from scheduler.commands.studies import render_json
        from scheduler.sheet.checkpage import check_content
        from scheduler.sheet.checkprint import check_page_warnings, render_check_page
        from scheduler.sheet.checkscreen import render_check
        from scheduler.writing import write_whole

        check_paper(paper)
        endings = {"sheet": (".pdf", ".png", ".svg"), "json": ()}
        check_targets({"sheet": sheet, "json": json}, (fleet, weather), endings)
        with progress() as tell:
            yard, year = read_checked_yard(CheckRequest(fleet, weather))
            tell("checking", 0.3)
            checkup = check_over(yard, year)
        content = check_content(checkup)
        shown = drawn(lambda width: render_check(content, width))
        written: dict[Path, bytes] = {}
        if sheet is not None:
            fmt = sheet.suffix.lower().removeprefix(".")
            made_at = dt.datetime.now(yard.site.zone)
            written[sheet] = render_check_page(content, made_at, fmt, paper)  # type: ignore[arg-type]
        if json is not None:
            written[json] = render_json(checkup_to_json(checkup))
        write_whole(written)
        typer.echo(shown)
        notes = [] if sheet is None else check_page_warnings(content)
        tell_beside(*(f"written: {path}" for path in written), *(f"note: {note}" for note in notes))
