"""The command ``sunroster compare``: what was expected, what came, and what may be the matter."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from scheduler.cli.telling import drawn, errors_told, progress, tell_beside

if TYPE_CHECKING:
    from scheduler.commands.compare import Comparison


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
    days: Annotated[
        int | None,
        typer.Option(
            "--days",
            min=1,
            max=62,
            help="How many days of readings, up to the last. Without it: 7; 56 to learn.",
        ),
    ] = None,
    learn: Annotated[
        bool,
        typer.Option(
            "--learn",
            help="From a fortnight or more: the array's, the house's, the bank's and the chargers' true figures, and "
            "the changed lines of the fleet file. Changes nothing.",
        ),
    ] = False,
    chart: Annotated[
        Path | None,
        typer.Option("--chart", help="Write a chart of the days that are compared: .png or .svg."),
    ] = None,
) -> None:
    """Compare what the bank showed with what was expected, and say what may be the matter.

    For each interval between two readings: the bank under the dull, the likely and the bright sun, what it showed,
    and a verdict with its odds. What to look at first stands below, its cautions before it.

    Example: sunroster compare my-yard.toml --plan door.json
    """
    with errors_told():
        from scheduler.commands.compare import CompareRequest, compare_yard, learn_yard
        from scheduler.commands.outputs import check_targets
        from scheduler.errors import UsageError
        from scheduler.sheet.comparescreen import render_comparison
        from scheduler.sheet.learnedscreen import render_changes, render_learned

        if learn and chart is not None:
            msg = "--learn besides --chart: leave one of them out"
            raise UsageError(msg)
        check_targets({"chart": chart}, inputs=(fleet, weather, *(plans or ())))
        request = CompareRequest(fleet, dt.datetime.now(dt.UTC), weather, tuple(plans or ()), days)
        with progress() as tell:
            tell("learning" if learn else "comparing", 0.3)
            lesson = learn_yard(request) if learn else None
            compared = None if learn else compare_yard(request)
        if lesson is not None:
            typer.echo(drawn(lambda width: render_learned(lesson.learned, lesson.notes, width)))
            typer.echo(render_changes(lesson.proposal))
        if compared is not None:
            shown = drawn(
                lambda width: render_comparison(
                    compared.expected, compared.intervals, (compared.summary, *compared.notes), width
                )
            )
            if chart is not None:
                _write_chart(chart, compared)
            typer.echo(shown)


def _write_chart(path: Path, compared: Comparison) -> None:
    from scheduler.sheet.comparechart import render_history_chart
    from scheduler.writing import write_whole

    fmt: Literal["png", "svg"] = "svg" if path.suffix.lower() == ".svg" else "png"
    title = f"{compared.yard.site.name}, {compared.summary}"
    drawn_bytes = render_history_chart(compared.yard, compared.intervals, compared.days, title, fmt)
    write_whole({path: drawn_bytes})
    tell_beside(f"written: {path}")
