"""A small yard with its forecast, and the command run on it in this process."""

from __future__ import annotations

from pathlib import Path

from typer.testing import CliRunner, Result

from scheduler.cli.app import app

ROOT = Path(__file__).parents[1]
FORECAST = ROOT / "forecasts" / "field-edge-three-days.csv"
START = "2027-06-08 16:00"

FLEET = """\
[site]
name = "bean shed"
latitude = 36.1
longitude = -79.95
timezone = "America/New_York"

[[arrays]]
name = "roof"
panels = 4
panel_w = 400
tilt_deg = 20
azimuth_deg = 180

[bank]
modules_wh = [5000]
reserve_pct = 25
level_pct = 70

[inverter]
continuous_w = 1500

[[outlets]]
name = "bench"
kind = "ac"

[[outlets]]
name = "gate"
kind = "ac"

[visits]
times = [07:00, 17:00]

[[machines]]
name = "cart"
battery_wh = 1400
charger_w = 260
charge_pct = 45

[[machines.needs]]
ready_by = 07:00
away_h = 4
energy_wh = 900

[[machines]]
name = "mower"
battery_wh = 2500
charger_w = 480
charge_pct = 30

[[machines.needs]]
ready_by = 12:00
away_h = 3
hours = 2
draw_w = 700
"""


def lay_out(folder: Path, fleet: str = FLEET) -> None:
    """Put a fleet file and its forecast into a folder."""
    (folder / "yard.toml").write_text(fleet, encoding="utf-8")
    (folder / "sky.csv").write_bytes(FORECAST.read_bytes())


def plan(
    *words: str, weather: str | None = "sky.csv", start: str | None = START, fleet: str = "yard.toml"
) -> Result:
    """Run ``sunroster plan`` in the current folder, in this process, on a terminal of 80 columns."""
    given = ["--weather", weather] if weather else []
    begun = ["--from", start] if start else []
    return run("plan", fleet, *given, *begun, *words)


def run(*words: str) -> Result:
    """Run ``sunroster`` in this process."""
    result = CliRunner().invoke(
        app, list(words), prog_name="sunroster", env={"COLUMNS": "80", "FORCE_COLOR": None}
    )
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def everything_in(folder: Path) -> dict[Path, bytes]:
    """Every file in a folder with what it holds, those that begin with a dot too."""
    return {path: path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}
