"""What was learned as changed lines of the fleet file, for whoever keeps it to take over or not."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator
from dataclasses import dataclass

from scheduler.logbook.learning import Figure, Learned
from scheduler.yard.linemap import LineMap, build_line_map
from scheduler.yard.models import Yard

#: A figure that is off by less than this is left as it is.
LEAST_CHANGE_FRACTION = 0.05


@dataclass(frozen=True)
class _Edit:
    """A line to replace, or with `line` 0 lines to add at the end."""

    line: int
    text: str


def propose(yard: Yard, learned: Learned, text: str, name: str) -> str:
    """Write the changes as a unified diff; empty where the file's figures stand.

    A figure is changed where the file's lies outside its 95 % interval and is off by 5 % or more; of a starved bank's
    weeks only the chargers' are.

    Parameters
    ----------
    yard : Yard
    learned : Learned
    text : str
        Of the fleet file.
    name : str
        Of the fleet file.
    """
    lines = text.splitlines()
    places = build_line_map(text)
    added: list[str] = []
    changed = list(lines)
    trusted = [figure for figure in learned.figures if figure.kind == "charger" or not learned.is_starved]
    for figure in trusted:
        if not figure.is_otherwise or abs(figure.factor_fraction - 1.0) < LEAST_CHANGE_FRACTION:
            continue
        for edit in _edits(yard, figure, lines, places):
            if edit.line:
                changed[edit.line - 1] = edit.text
            else:
                added += edit.text.split("\n")
    diff = difflib.unified_diff(lines, [*changed, *added], name, f"{name}, learned", lineterm="", n=2)
    return "\n".join(diff)


def _edits(yard: Yard, figure: Figure, lines: list[str], places: LineMap) -> Iterator[_Edit]:
    """Say which lines a figure changes."""
    if figure.kind == "array":
        for number, array in enumerate(yard.arrays):
            loss_pct = 100.0 * (1.0 - (1.0 - array.loss_fraction) * figure.factor_fraction)
            yield from _set(lines, places, ("arrays", number), "losses_pct", f"{max(loss_pct, 0.0):.1f}")
    elif figure.kind == "bank":
        modules = ", ".join(f"{10 * round(figure.factor_fraction * wh / 10):d}" for wh in yard.bank.modules_wh)
        yield from _set(lines, places, ("bank",), "modules_wh", f"[{modules}]")
    elif figure.kind == "charger":
        number = _table_of(figure.name, lines, places)
        yield from _set(lines, places, ("machines", number), "charger_w", f"{figure.value_w:.0f}")
    elif figure.factor_fraction > 1.0:
        more_w = figure.value_w - figure.file_value_w
        yield _Edit(0, f'\n[[house_loads]]\nname = "what else runs"\nwatts = {more_w:.0f}\nalways_on = true')
    else:
        for number, load in enumerate(yard.house_loads):
            if load.always_on:
                watts = f"{figure.factor_fraction * load.watts:.1f}"
                yield from _set(lines, places, ("house_loads", number), "watts", watts)


def _set(
    lines: list[str], places: LineMap, table: tuple[str | int, ...], key: str, value: str
) -> Iterator[_Edit]:
    """Replace a key's line, or write it under its table's heading where the default stood."""
    line = places.lines.get((*table, key))
    if line is not None:
        comment = re.search(r"\s+#.*$", lines[line - 1])
        yield _Edit(line, f"{key} = {value}{comment[0] if comment else ''}")
    else:
        heading = places.line_of(table)
        yield _Edit(heading, f"{lines[heading - 1]}\n{key} = {value}")


def _table_of(name: str, lines: list[str], places: LineMap) -> int:
    """Which of the file's machines has a name; ``pruner 1`` is one of those called ``pruner``."""
    named: dict[str, int] = {}
    for path, line in places.lines.items():
        if len(path) == 3 and path[0] == "machines" and path[2] == "name":
            said = re.search(r"=\s*[\"'](.*?)[\"']", lines[line - 1])
            named[said[1] if said else ""] = int(path[1])
    return named.get(name, named.get(name.rpartition(" ")[0], 0))
