"""What every command tells beside its answer: faults with their exit code, notes, and how far it is."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

import typer

from scheduler.errors import SunrosterError, told_plainly

if TYPE_CHECKING:
    from rich.console import RenderableType

    from scheduler.planning.planner import Tell

STOPPED = 130  #: exit code after Ctrl-C, as shells have it
asked_to_stop = threading.Event()


@contextmanager
def errors_told() -> Iterator[None]:
    """Turn the program's own errors into a message and their exit code."""
    try:
        yield
    except SunrosterError as fault:
        tell_beside(str(fault))
        raise typer.Exit(fault.exit_code) from fault
    except (BrokenExecutor, SystemExit) as fault:  # the pool's word for it, and the worker's own
        tell_beside("a worker process was ended from outside, perhaps for want of memory; try --workers 1")
        raise typer.Exit(1) from fault
    except BaseException as fault:
        # A library that is stopped while it is loaded may make an error of its own of it.
        if not isinstance(fault, KeyboardInterrupt) and not asked_to_stop.is_set():
            raise
        tell_beside("stopped")
        raise typer.Exit(STOPPED) from fault


def tell_beside(*lines: str) -> None:
    """Tell what is not the answer itself, on standard error; names out of flags and files are told plainly."""
    with suppress(OSError):  # nobody can be told, and the answer matters more
        for line in (line for text in lines for line in text.split("\n")):
            typer.echo(told_plainly(line), err=True)


def drawn(render: Callable[[int], RenderableType]) -> str:
    """Draw a screen, laid out for the console's width, ready to print."""
    from rich.console import Console

    console = Console(highlight=False)
    with console.capture() as capture:
        console.print(render(console.width))
    return "\n".join(line.rstrip() for line in capture.get().rstrip("\n").split("\n"))


@contextmanager
def progress() -> Iterator[Tell]:
    """Show a bar on standard error, gone when done; nothing where that is no terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True, disable=not sys.stderr.isatty()) as bar:
        task = bar.add_task("reading", total=1.0)
        yield lambda what, done: bar.update(task, description=what, completed=done)
