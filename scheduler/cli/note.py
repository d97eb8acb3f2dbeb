"""The command ``sunroster note``: what the bank and the machines show, into the logbook."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

import typer

from scheduler.cli.flags import FleetFile
from scheduler.cli.telling import errors_told, tell_beside


def note(
    fleet: FleetFile,
    bank: Annotated[
        str | None, typer.Option("--bank", metavar="PERCENT", help="What the bank shows, in percent.")
    ] = None,
    machine: Annotated[
        list[str] | None,
        typer.Option("--machine", help='What a machine shows: "cart=40". Give it once for each machine.'),
    ] = None,
    sky: Annotated[
        str | None,
        typer.Option(
            "--sky",
            help='What the sky was like since the bank was last read today: clear, fair, "partly cloudy", cloudy, '
            'overcast; or by halves of the day: "am: fair, pm: overcast".',
        ),
    ] = None,
    at: Annotated[
        str | None,
        typer.Option("--at", help='When it was read: "12:30" today, or "2027-06-08 12:30". Without it: now.'),
    ] = None,
    remark: Annotated[
        str | None, typer.Option("--remark", help='Anything else worth knowing: "left breaker was off".')
    ] = None,
    who: Annotated[str, typer.Option("--who", help="Who read it.")] = "",
    sure: Annotated[
        bool, typer.Option("--sure", help="Write down also what can hardly be true, such as a leap.")
    ] = False,
    undo: Annotated[
        bool, typer.Option("--undo", help="Take the last reading back; its line stays, marked.")
    ] = False,
) -> None:
    """Write down what the bank and the machines show, for `plan` to start from and `compare` to judge.

    The logbook is a CSV beside the fleet file, such as my-yard-logbook.csv: time, what, value, who. It can be
    edited in a spreadsheet. What was noted is on the disk before this answers.

    Example: sunroster note my-yard.toml --bank 62 --machine "cart=40" --sky fair --who Ann
    """
    with errors_told():
        from scheduler.commands.amounts import parse_amount
        from scheduler.commands.note import NoteRequest, note_readings, undo_last

        request = NoteRequest(
            fleet=fleet,
            now=dt.datetime.now(dt.UTC),
            bank_pct=parse_amount("--bank", bank, "62.5"),
            machines=tuple(machine or ()),
            sky=sky,
            remark=remark,
            at=at,
            who=who,
            sure=sure,
        )
        noted = undo_last(request) if undo else note_readings(request)
        typer.echo("\n".join(noted.done))
        tell_beside(*noted.beside)
