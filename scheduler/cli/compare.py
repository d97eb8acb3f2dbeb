"""The command ``sunroster compare``: what was expected, what came, and what may be the matter."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated

import typer

from scheduler.cli.telling import drawn, errors_told, progress


def compare(
    fleet: Annotated[Path, typer.Argument(help="Fleet file of the yard (TOML); its logbook lies beside it.")],
    weather: Annotated[
        Path | None,
        typer.Option(
            "--weather",
            help="The weather of the days that are compared: a forecast (CSV) or a typical year. Without it: the "
            "plans' own suns, else the fleet file's typical_year.",
        ),
    ] = None,
    plans: Annotated[
        list[Path] | None,
        typer.Option("--plan", help="A plan that hung on the door, as plan --json wrote it; once for each."),
    ] = None,
    days: Annotated[int, typer.Option("--days", min=1, max=62, help="How many days of readings, up to the last.")] = 7,
) -> None:
    """Compare what the bank showed with what was expected, and say what may be the matter.

    For each interval between two readings: the bank under the dull, the likely and the bright sun, what it showed,
    and a verdict with its odds. What to look at first stands below, its cautions before it.

    Example: sunroster compare my-yard.toml --plan door.json
    """
    with errors_told():
        from scheduler.commands.compare import CompareRequest, compare_yard
        from scheduler.sheet.comparescreen import render_comparison

        now = dt.datetime.now(dt.UTC)
        with progress() as tell:
            tell("comparing", 0.3)
            compared = compare_yard(CompareRequest(fleet, now, weather, tuple(plans or ()), days))
        typer.echo(drawn(lambda width: render_comparison(compared.expected, compared.intervals, compared.notes, width)))
