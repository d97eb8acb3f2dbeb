"""The command ``sunroster plan``: the main job."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated

import typer

from scheduler.cli.flags import Sky, Weather
from scheduler.cli.telling import drawn, errors_told, progress, tell_beside


def plan(
    fleet: Annotated[Path, typer.Argument(help="Fleet file of the yard (TOML); `sunroster new` makes one.")],
    weather: Weather = None,
    sky: Sky = None,
    start: Annotated[
        str | None,
        typer.Option(
            "--from",
            help='When the plan begins, on the site\'s clock: "2027-06-09 06:00", or "06:00" for today. '
            "Without it: the next full step.",
        ),
    ] = None,
    here: Annotated[
        bool, typer.Option("--here", help="Somebody stands there at the start and can change plugs.")
    ] = False,
    hours: Annotated[
        str | None,
        typer.Option(
            "--hours",
            metavar="HOURS",
            help="Length of the plan, at most 168. Without it: to the last need within 48 h, at least 24.",
        ),
    ] = None,
    step: Annotated[
        int | None,
        typer.Option(
            "--step", help="60, 30 or 15 minutes. Without it: the longest on which everything falls."
        ),
    ] = None,
    bank: Annotated[
        str | None,
        typer.Option(
            "--bank",
            metavar="PERCENT",
            help="What the bank shows at the start, in percent. Without it: the last reading noted, see "
            "`sunroster note`.",
        ),
    ] = None,
    charge: Annotated[
        list[str] | None,
        typer.Option(
            "--charge", help='What a machine shows at the start: "cart=40". Give it once for each machine.'
        ),
    ] = None,
    door: Annotated[
        Path | None,
        typer.Option(
            "--door",
            help="The plan whose page hangs on the door, as --json wrote it: what is plugged in stays until the "
            "next visit, and what changes on the page is told.",
        ),
    ] = None,
    text: Annotated[
        Path | None,
        typer.Option("--text", help="Write what changes on that page as a text message; - prints it alone."),
    ] = None,
    sheet: Annotated[
        Path | None, typer.Option("--sheet", help="Write the page for the door: .pdf, .png, .svg or .txt.")
    ] = None,
    paper: Annotated[str, typer.Option("--paper", help="Paper of the page: a4 or us-letter.")] = "a4",
    calendar: Annotated[
        Path | None, typer.Option("--calendar", help="Write the visits for a phone's calendar: .ics.")
    ] = None,
    chart: Annotated[
        Path | None, typer.Option("--chart", help="Write a chart of power, bank and charge: .png or .svg.")
    ] = None,
    json: Annotated[
        Path | None, typer.Option("--json", help="Write the plan for other programs (sunroster.plan/1).")
    ] = None,
) -> None:
    """Plan which machine to plug in when and where, prove it by a replay, and show it.

    Nobody has to believe it blindly: the bank stays above its reserve even if the sun is dull, nine days in ten
    are sunnier than that, and a replay of the physics has confirmed the plan before it is shown.

    Example: sunroster plan my-yard.toml --bank 62 --charge "cart=40" --sheet door.pdf --json door.json

    At noon: sunroster note my-yard.toml --bank 48, then sunroster plan my-yard.toml --door door.json --text -
    """
    with errors_told():
        from scheduler.commands.amounts import parse_hours, parse_pct
        from scheduler.commands.outputs import check_text, outputs_of
        from scheduler.commands.plan import PlanRequest, check_replayed, plan_yard, read_yard_as_found
        from scheduler.sheet.changes import render_changes
        from scheduler.sheet.screen import render_plan
        from scheduler.writing import write_whole

        request = PlanRequest(
            fleet=fleet,
            now=dt.datetime.now(dt.UTC),
            weather=weather,
            sky=sky,
            start=start,
            here=here,
            hours=parse_hours("--hours", hours),
            step_minutes=step,
            bank_pct=parse_pct("--bank", bank),
            charges=tuple(charge or ()),
            door=door,
        )
        check_text(text, door)
        alone = text == Path("-")
        targets = {"sheet": sheet, "calendar": calendar, "chart": chart, "json": json}
        targets["text"] = None if alone else text
        found = read_yard_as_found(request)
        yard = found.yard
        outputs = outputs_of(targets, paper, inputs=(fleet, weather, door), door=found.door)
        with progress() as tell:
            made = plan_yard(yard, request, tell, found.notes, found.door)
            check_replayed(made, yard)
            rendered = {path: render(made, yard) for path, render in outputs}
        # Drawn before a file is written, so that a fault leaves nothing behind.
        changes = "" if found.door is None else render_changes(found.door, made, yard)
        shown = changes if alone else drawn(lambda width: render_plan(made, yard, width, changes))
        write_whole({path: content for path, (content, _) in rendered.items()})
        typer.echo(shown.rstrip("\n"))
        if alone:
            tell_beside(*(f"note: {note}" for note in made.notes))
        for path, (_, warnings) in rendered.items():
            tell_beside(f"written: {path}", *(f"note: {warning}" for warning in warnings))
