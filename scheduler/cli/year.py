"""The command ``sunroster year``: a whole year, lived day by day."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from scheduler.cli.flags import FleetFile, TypicalWeather, Workers
from scheduler.cli.telling import STOPPED, drawn, errors_told, progress, tell_beside

if TYPE_CHECKING:
    from scheduler.studies.yearstudy import YearWork


def year(
    fleet: FleetFile,
    weather: TypicalWeather = None,
    start: Annotated[
        str | None, typer.Option("--from", help='First day: "2027-06-01". Without it: 1 January 2027.')
    ] = None,
    days: Annotated[int, typer.Option("--days", min=1, max=365, help="How many days to live.")] = 365,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Of all that is drawn.")] = 0,
    years: Annotated[
        int,
        typer.Option(
            "--years", min=0, max=1000, help="Years of resampled days beside it, to see how sure it is."
        ),
    ] = 0,
    workers: Workers = None,
    scheduler: Annotated[
        str | None,
        typer.Option("--scheduler", help="Dask scheduler to live the resampled years: tcp://HOST:8786."),
    ] = None,
    yardsticks: Annotated[
        bool,
        typer.Option("--yardsticks", help="The same year by rules of thumb, and with the whole year known."),
    ] = False,
    resume: Annotated[
        Path | None,
        typer.Option("--resume", help="Keep the state here, and go on from it if the file is there already."),
    ] = None,
    json: Annotated[
        Path | None, typer.Option("--json", help="Write the year for other programs (sunroster.year/1).")
    ] = None,
    csv: Annotated[Path | None, typer.Option("--csv", help="Write a table with a row a day.")] = None,
    chart: Annotated[
        Path | None, typer.Option("--chart", help="Write a chart by month: .png or .svg.")
    ] = None,
) -> None:
    """Live a typical year with the yard: who is ready how often, which months fail, and where the sun goes.

    Every evening a plan is made by a forecast drawn around the day that comes; the day is lived as it comes, by a
    hand that follows the page to the letter, and carries on into the next. Takes a minute or two; Ctrl-C shows
    what there is by then.

    Example: sunroster year my-yard.toml --years 20 --resume my-year.state
    """
    with errors_told():
        from scheduler.commands.studies import check_targets
        from scheduler.commands.year import YearRequest, begin_year, render_outputs
        from scheduler.sheet.yearscreen import render_year
        from scheduler.writing import write_whole

        targets = {"json": json, "csv": csv, "chart": chart}
        check_targets({**targets, "resume": resume})
        work = begin_year(
            YearRequest(fleet, weather, seed, years, workers, scheduler, start, days, yardsticks, resume)
        )
        stopped = not _done(work)
        study = work.so_far()
        rendered = render_outputs(study, targets)
        shown = drawn(lambda width: render_year(study, width))
        write_whole(rendered)
        typer.echo(shown)
        tell_beside(*(f"written: {path}" for path in rendered))
    if stopped:
        tell_beside(
            "stopped" if resume is None else f"stopped; the same command with --resume {resume} goes on"
        )
        raise typer.Exit(STOPPED)


def _done(work: YearWork) -> bool:
    """Do the work; whether it came to its end before Ctrl-C."""
    try:
        with progress() as tell:
            work.do(tell)
    except KeyboardInterrupt:
        return False
    return True
