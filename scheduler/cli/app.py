"""The command ``sunroster``: reads the clock, calls, prints and writes; nothing is worked out here."""

from __future__ import annotations

import os
import signal
import sys
import threading
from contextlib import suppress
from typing import Annotated, NoReturn

import typer

from scheduler import __version__
from scheduler.cli.check import check
from scheduler.cli.compare import compare
from scheduler.cli.fits import fits
from scheduler.cli.new import new
from scheduler.cli.note import note
from scheduler.cli.plan import plan
from scheduler.cli.size import size
from scheduler.cli.stopping import when_stopped
from scheduler.cli.sun import sun
from scheduler.cli.telling import STOPPED, asked_to_stop, tell_beside
from scheduler.cli.year import year
from scheduler.errors import OutputError

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


for _command in (plan, note, compare, sun, fits, year, size, check, new):
    app.command()(_command)


def main() -> None:
    """Run the command; text that a terminal's code page cannot show must not end in an error."""
    _open_closed_streams()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    when_stopped(_stop)
    try:
        app(prog_name="sunroster")
    except SystemExit as end:
        when_stopped(signal.SIG_IGN)  # there is nothing left to stop
        code = _flushed(end.code)
        if code == STOPPED or threading.active_count() > 1:
            _leave_at_once(code)
        sys.exit(code)
    except BaseException as fault:
        if isinstance(fault, KeyboardInterrupt) or asked_to_stop.is_set():
            tell_beside("stopped")
            _leave_at_once(STOPPED)
        if isinstance(fault, OSError):
            # Files tell of their own faults: what is left is the stream to which the answer goes.
            _leave_at_once(_tell_unprinted(fault))
        raise


def _open_closed_streams() -> None:
    """Let what was closed before the start go to nobody, so that no file takes its number and its output."""
    while (handle := os.open(os.devnull, os.O_RDWR)) <= 2:
        pass
    os.close(handle)
    sys.stdin = sys.stdin or open(0, encoding="utf-8")  # noqa: SIM115  a number, not a path
    sys.stdout = sys.stdout or open(1, "w", encoding="utf-8")  # noqa: SIM115
    sys.stderr = sys.stderr or open(2, "w", encoding="utf-8")  # noqa: SIM115


def _flushed(code: str | int | None) -> str | int | None:
    """Return the exit code, or that of an answer that could not be printed to its end."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        return code
    except OSError as fault:
        return _tell_unprinted(fault)
    return code


def _tell_unprinted(fault: OSError) -> int:
    reason = fault.strerror or fault
    tell_beside(f"the answer cannot be printed: {reason}; is there room where it goes, and in TMPDIR?")
    return OutputError.exit_code


def _stop(signum: int, frame: object) -> NoReturn:
    asked_to_stop.set()
    raise KeyboardInterrupt


def _leave_at_once(code: object) -> NoReturn:
    """End without a solver that is still at work: it listens to nobody, and an orderly end would crash on it."""
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError):
            stream.flush()
    os._exit(code if isinstance(code, int) else int(code is not None))
