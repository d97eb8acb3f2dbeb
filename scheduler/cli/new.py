"""The command ``sunroster new``: a fleet file to start from."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from scheduler.cli.telling import errors_told
from scheduler.errors import UsageError


def new(
    fleet: Annotated[Path, typer.Argument(help="The file to make, such as my-yard.toml.")],
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there.")] = False,
) -> None:
    """Make a fleet file to start from: every key with its unit, its default and the reason for it.

    Example: sunroster new my-yard.toml
    """
    with errors_told():
        from scheduler.writing import write_whole
        from scheduler.yard.starter import starter_text

        if os.path.lexists(fleet) and not force:
            msg = f"{fleet} is there already; choose another name, or --force to write over it"
            raise UsageError(msg)
        write_whole({fleet: starter_text().encode()})
        typer.echo(f"{fleet} is made. Put your yard's figures in, then: sunroster plan {fleet}")
