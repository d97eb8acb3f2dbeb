"""The command ``sunroster size``: how many panels, how large a bank."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from scheduler.cli.flags import FleetFile, Seed, TypicalWeather, Workers
from scheduler.cli.telling import drawn, errors_told, progress, tell_beside


def size(
    fleet: FleetFile,
    weather: TypicalWeather = None,
    panels: Annotated[
        str | None,
        typer.Option(
            "--panels", help="Sizes of the array to try, such as 8,10,12. Without it: 0.6 to 2 times."
        ),
    ] = None,
    modules: Annotated[
        str | None,
        typer.Option(
            "--modules", help="Sizes of the bank to try, such as 1,2,3. Without it: 0.5 to 3 times."
        ),
    ] = None,
    days: Annotated[
        int, typer.Option("--days", min=1, max=28, help="How many days of each month are lived and counted.")
    ] = 7,
    seed: Seed = 0,
    workers: Workers = None,
    chart: Annotated[
        Path | None, typer.Option("--chart", help="Write a contour chart with today's yard: .png or .svg.")
    ] = None,
    json: Annotated[
        Path | None, typer.Option("--json", help="Write the sizes for other programs (sunroster.size/1).")
    ] = None,
) -> None:
    """Show what more or fewer panels and bank modules would bring, beside the worst-month design rule.

    Each size lives the same days of every month with the real planner; the table has the share of the must needs that
    are met. Below it stands the method of IEEE 1562 and IEEE 1013 for the yard, every step with its number and source.

    Example: sunroster size my-yard.toml --chart sizes.png
    """
    with errors_told():
        from scheduler.commands.size import SizeRequest, read_sized_yard, size_yard, sizing_to_json
        from scheduler.commands.studies import check_targets, render_json
        from scheduler.sheet.sizechart import render_size_chart
        from scheduler.sheet.sizescreen import render_sizing
        from scheduler.writing import write_whole

        check_targets({"chart": chart, "json": json})
        request = SizeRequest(fleet, weather, panels, modules, days, seed, workers)
        yard, year = read_sized_yard(request)
        with progress() as tell:
            sizing = size_yard(yard, year, request, tell)
        shown = drawn(lambda width: render_sizing(sizing, year.source, width))
        written: dict[Path, bytes] = {}
        if chart is not None:
            written[chart] = render_size_chart(sizing, "svg" if chart.suffix.lower() == ".svg" else "png")
        if json is not None:
            written[json] = render_json(sizing_to_json(sizing, yard, year.source))
        write_whole(written)
        typer.echo(shown)
        tell_beside(*(f"written: {path}" for path in written))
