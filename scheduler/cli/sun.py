"""The command ``sunroster sun``: the next days' sun."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated

import typer

from scheduler.cli.flags import FleetFile, Sky, Weather
from scheduler.cli.telling import drawn, errors_told, progress, tell_beside


def sun(
    fleet: FleetFile,
    weather: Weather = None,
    sky: Sky = None,
    start: Annotated[
        str | None,
        typer.Option(
            "--from",
            help='When the outlook begins, on the site\'s clock: "2027-06-09 06:00", or "06:00" for today. '
            "Without it: now, or where the forecast begins.",
        ),
    ] = None,
    fetch: Annotated[
        bool,
        typer.Option(
            "--fetch",
            help="Fetch an hourly forecast from MET Norway, for any place on earth; needs --contact. "
            "Where that fails: the next best source.",
        ),
    ] = False,
    contact: Annotated[
        str | None,
        typer.Option(
            "--contact",
            envvar="SUNROSTER_CONTACT",
            help="Your mail address or web site: the weather service wants to know whom it may write to.",
        ),
    ] = None,
    folder: Annotated[
        Path, typer.Option("--folder", help="Where fetched forecasts are kept, each a file for --weather.")
    ] = Path("forecasts"),
    days: Annotated[
        int, typer.Option("--days", min=1, max=14, help="How many days, the first one counted.")
    ] = 3,
    chart: Annotated[
        Path | None, typer.Option("--chart", help="Write a chart of the three suns: .png or .svg.")
    ] = None,
) -> None:
    """Show what the sun will bring in the next days: dull, likely and bright, and what that is known from.

    Nine days in ten are sunnier than the dull sun, one in ten than the bright one.

    Example: sunroster sun my-yard.toml --sky "tomorrow am: fair, pm: overcast"

    Example: sunroster sun my-yard.toml --fetch --contact you@your.domain
    """
    with errors_told():
        from scheduler.commands.outputs import check_targets
        from scheduler.commands.sun import SunRequest, look_out
        from scheduler.sheet.sunchart import render_outlook_chart
        from scheduler.sheet.sunscreen import render_outlook
        from scheduler.writing import write_whole

        check_targets({"chart": chart}, inputs=(fleet, weather))
        now = dt.datetime.now(dt.UTC)
        with progress() as tell:
            tell("fetching" if fetch else "the sun", 0.3)
            outlook = look_out(SunRequest(fleet, now, weather, sky, start, days, fetch, contact, folder))
        shown = drawn(lambda width: render_outlook(outlook, width))
        if chart is not None:
            fmt = "svg" if chart.suffix.lower() == ".svg" else "png"
            write_whole({chart: render_outlook_chart(outlook, fmt)})  # type: ignore[arg-type]
        typer.echo(shown)
        if chart is not None:
            tell_beside(f"written: {chart}")
