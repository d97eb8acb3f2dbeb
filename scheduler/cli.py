"""The command ``sunroster``: reads the clock, calls, prints and writes; nothing is worked out here."""

from __future__ import annotations

import datetime as dt
import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from scheduler import __version__
from scheduler.errors import SunrosterError, UsageError

if TYPE_CHECKING:
    from scheduler.planning.planner import Tell
    from scheduler.planning.record import Plan
    from scheduler.yard.models import Yard

STOPPED = 130  #: exit code after Ctrl-C, as shells have it
_asked_to_stop = threading.Event()

app = typer.Typer(
    name="sunroster",
    no_args_is_help=True,
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help=(
        "Which battery machines to plug in, when and at which outlet, at a yard that lives on its own sun.\n\n"
        "Start with `sunroster new my-yard.toml`, put your own figures in, then `sunroster plan my-yard.toml`.\n\n"
        "Exit codes: 0 done, 1 a fault of the program, 2 flags that do not go together, 3 a file that cannot be "
        "used, 5 the replay refused the plan, 6 a file could not be written, 130 Ctrl-C."
    ),
)


def _show_version(asked: bool) -> None:
    if asked:
        typer.echo(f"sunroster {__version__}")
        raise typer.Exit


@app.callback()
def _about(
    version: Annotated[
        bool,
        typer.Option("--version", help="Show the version and stop.", is_eager=True, callback=_show_version),
    ] = False,
) -> None:
    """Take what stands before the command's name."""


@app.command()
def plan(
    fleet: Annotated[Path, typer.Argument(help="Fleet file of the yard (TOML); `sunroster new` makes one.")],
    weather: Annotated[
        Path | None,
        typer.Option(
            "--weather",
            help="Forecast (CSV) or typical year (TMY3, TMY2, EPW, PVGIS). Without it: the fleet file's typical_year.",
        ),
    ] = None,
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
        float | None,
        typer.Option(
            "--hours",
            min=0.25,
            max=168,
            help="Length of the plan. Without it: to the last need within 48 h, at least 24.",
        ),
    ] = None,
    step: Annotated[
        int | None,
        typer.Option(
            "--step", help="60, 30 or 15 minutes. Without it: the longest on which everything falls."
        ),
    ] = None,
    bank: Annotated[
        float | None,
        typer.Option("--bank", min=0, max=100, help="What the bank shows at the start, in percent."),
    ] = None,
    charge: Annotated[
        list[str] | None,
        typer.Option(
            "--charge", help='What a machine shows at the start: "cart=40". Give it once for each machine.'
        ),
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

    Example: sunroster plan my-yard.toml --bank 62 --charge "cart=40" --sheet door.pdf
    """
    with _errors_told():
        from scheduler.commands import PlanRequest, check_replayed, outputs_of, plan_yard, read_yard_as_found
        from scheduler.writing import write_whole

        request = PlanRequest(
            fleet=fleet,
            now=dt.datetime.now(dt.UTC),
            weather=weather,
            start=start,
            here=here,
            hours=hours,
            step_minutes=step,
            bank_pct=bank,
            charges=tuple(charge or ()),
        )
        targets = {"sheet": sheet, "calendar": calendar, "chart": chart, "json": json}
        outputs = outputs_of(targets, paper, inputs=(fleet, weather))
        yard = read_yard_as_found(request)
        with _progress() as tell:
            made = plan_yard(yard, request, tell)
            check_replayed(made, yard)
            rendered = {path: render(made, yard) for path, render in outputs}
        shown = _drawn(made, yard)
        write_whole({path: content for path, (content, _) in rendered.items()})
        typer.echo(shown)
        for path, (_, warnings) in rendered.items():
            _tell_beside(f"written: {path}", *(f"note: {warning}" for warning in warnings))


@app.command()
def new(
    fleet: Annotated[Path, typer.Argument(help="The file to make, such as my-yard.toml.")],
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there.")] = False,
) -> None:
    """Make a fleet file to start from: every key with its unit, its default and the reason for it.

    Example: sunroster new my-yard.toml
    """
    with _errors_told():
        from scheduler.writing import write_whole
        from scheduler.yard.starter import starter_text

        if os.path.lexists(fleet) and not force:
            msg = f"{fleet} is there already; choose another name, or --force to write over it"
            raise UsageError(msg)
        write_whole({fleet: starter_text().encode()})
        typer.echo(f"{fleet} is made. Put your yard's figures in, then: sunroster plan {fleet}")


def main() -> None:
    """Run the command; text that a terminal's code page cannot show must not end in an error."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, _stop)
    try:
        app(prog_name="sunroster")
    except SystemExit as end:
        if end.code == STOPPED or threading.active_count() > 1:
            _leave_at_once(end.code)
        raise


def _stop(signum: int, frame: object) -> NoReturn:
    _asked_to_stop.set()
    raise KeyboardInterrupt


def _leave_at_once(code: object) -> NoReturn:
    """End without a solver that is still at work: it listens to nobody, and an orderly end would crash on it."""
    for stream in (sys.stdout, sys.stderr):
        stream.flush()
    os._exit(code if isinstance(code, int) else int(code is not None))


@contextmanager
def _errors_told() -> Iterator[None]:
    """Turn the program's own errors into a message and their exit code."""
    try:
        yield
    except SunrosterError as fault:
        _tell_beside(str(fault))
        raise typer.Exit(fault.exit_code) from fault
    except BaseException as fault:
        # A library that is stopped while it is loaded may make an error of its own of it.
        if not isinstance(fault, KeyboardInterrupt) and not _asked_to_stop.is_set():
            raise
        _tell_beside("stopped")
        raise typer.Exit(STOPPED) from fault


def _tell_beside(*lines: str) -> None:
    """Tell what is not the answer itself, on standard error."""
    for line in lines:
        typer.echo(line, err=True)


@contextmanager
def _progress() -> Iterator[Tell]:
    """Show a bar on standard error, gone when done; nothing where that is no terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True, disable=not sys.stderr.isatty()) as bar:
        task = bar.add_task("reading", total=1.0)
        yield lambda what, done: bar.update(task, description=what, completed=done)


def _drawn(made: Plan, yard: Yard) -> str:
    """Draw the screen, ready to print; drawn before a file is written, so that a fault leaves nothing behind."""
    from rich.console import Console

    from scheduler.sheet.screen import render_plan

    console = Console(highlight=False)
    with console.capture() as capture:
        console.print(render_plan(made, yard, console.width))
    return "\n".join(line.rstrip() for line in capture.get().rstrip("\n").split("\n"))
