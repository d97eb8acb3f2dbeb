"""The command ``sunroster fits``: does a new machine fit."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from scheduler.cli.flags import FleetFile, Seed, TypicalWeather, Workers
from scheduler.cli.telling import drawn, errors_told, progress, tell_beside


def fits(
    fleet: FleetFile,
    new: Annotated[
        Path,
        typer.Argument(
            help="File with the new machine's [[machines]] table, as it would stand in the fleet file."
        ),
    ],
    weather: TypicalWeather = None,
    quick: Annotated[
        bool,
        typer.Option("--quick", help="A first answer within seconds, from the worst month's design days."),
    ] = False,
    start: Annotated[
        str | None, typer.Option("--from", help='First day: "2027-06-01". Without it: 1 January 2027.')
    ] = None,
    days: Annotated[int, typer.Option("--days", min=1, max=365, help="How many days to live.")] = 365,
    floor: Annotated[
        float,
        typer.Option("--floor", min=0, max=100, help="No reserve below this is proposed, in percent."),
    ] = 10.0,
    seed: Seed = 0,
    workers: Workers = None,
    json: Annotated[
        Path | None, typer.Option("--json", help="Write the answer for other programs (sunroster.fits/1).")
    ] = None,
) -> None:
    """Say whether the yard can carry a new machine: by living the year without it and with it.

    Both years have the same weather and the same forecasts, are planned every evening and lived by the page. If
    the machine does not fit, the answer names the months in which it does, the machines that pay, the limit that
    holds, and the smallest change of each kind that would make it fit, each verified by a year of its own. That
    takes minutes; --quick takes seconds.

    Example: sunroster fits my-yard.toml new-hoe.toml
    """
    with errors_told():
        from scheduler.commands.fits import (
            FitRequest,
            answer_in_full,
            answer_quickly,
            read_question,
            study_to_json,
            weeks_to_json,
        )
        from scheduler.commands.studies import check_targets, render_json
        from scheduler.sheet.fitscreen import render_design_weeks, render_fit
        from scheduler.writing import write_whole

        check_targets({"json": json})
        request = FitRequest(fleet, new, weather, seed, floor, workers, start, days)
        question = read_question(request)
        source, yard = question.weather.source, question.yard
        with progress() as tell:
            if quick:
                weeks = answer_quickly(question, request)
                shown, content = (
                    drawn(lambda width: render_design_weeks(weeks, width)),
                    weeks_to_json(weeks, yard, source),
                )
            else:
                study = answer_in_full(question, request, tell)
                shown, content = (
                    drawn(lambda width: render_fit(study, source, width)),
                    study_to_json(study, yard, source),
                )
        if json is not None:
            write_whole({json: render_json(content)})
        typer.echo(shown)
        if json is not None:
            tell_beside(f"written: {json}")
