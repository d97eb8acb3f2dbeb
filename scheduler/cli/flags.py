"""Arguments and flags that several commands take, each told in one way."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

FleetFile = Annotated[Path, typer.Argument(help="Fleet file of the yard (TOML).")]

Weather = Annotated[
    Path | None,
    typer.Option(
        "--weather",
        help="Forecast (CSV) or typical year (TMY3, TMY2, EPW, PVGIS). Without it: the fleet file's typical_year.",
    ),
]

TypicalWeather = Annotated[
    Path | None,
    typer.Option(
        "--weather", help="Typical year (TMY3, TMY2, EPW, PVGIS). Without it: the fleet file's typical_year."
    ),
]

Sky = Annotated[
    str | None,
    typer.Option("--sky", help='The sky in words, for half days: "tomorrow am: fair, pm: overcast".'),
]

Seed = Annotated[int, typer.Option("--seed", min=0, help="Of the forecasts' errors.")]

Workers = Annotated[
    int | None, typer.Option("--workers", min=1, help="Processes to live in. Without it: one a core.")
]
