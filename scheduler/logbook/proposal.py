"""What was learned as changed lines of the fleet file, for whoever keeps it to take over or not.

Every change is tried before it is shown: the changed text must read as a fleet file in which just the learned figure
stands. Where no change of the text does that, lines to write by hand are told instead.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from scheduler.errors import FleetFileError
from scheduler.logbook.learned import DEVIATIONS_95, Figure, Learned
from scheduler.units import pct_from_fraction
from scheduler.yard.fleetedit import Edit, FleetText, unified_diff
from scheduler.yard.fleetfile import parse_yard
from scheduler.yard.models import Yard

#: A figure that is off by less than this is left as it is.
LEAST_CHANGE_FRACTION = 0.05

#: How far a figure may be rounded when it is written.
ROUNDED_FRACTION = 0.01

#: The chargers of one table are taken for alike unless one is so many deviations from their mean.
ALIKE_DEVIATIONS = 3.0

#: How a load is called that readings show and the fleet file lacks.
UNKNOWN_LOAD = "what else runs"

BYTE_ORDER_MARK = "\ufeff"


@dataclass(frozen=True)
class Proposal:
    """What would change in a fleet file.

    Attributes
    ----------
    diff : str
        As ``patch -p0`` takes it; empty where nothing is to change.
    by_hand : tuple of str
        What the diff leaves to the hand, a line each.
    """

    diff: str
    by_hand: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Change:
    """One figure's change.

    Attributes
    ----------
    edits : tuple of Edit
        None of them where the layout leaves no safe place.
    by_hand : tuple of str
        The same as lines to write by hand.
    found : callable
        The figure in a yard that was read.
    wanted : float
        What it is to be.
    """

    edits: tuple[Edit, ...]
    by_hand: tuple[str, ...]
    found: Callable[[Yard], float]
    wanted: float


def propose(yard: Yard, learned: Learned, fleet: Path) -> Proposal:
    """Write the changes as a unified diff, and what has to be written by hand.

    A figure is changed where the file's lies outside its 95 % interval and is off by 5 % or more; of a starved bank's
    weeks only the chargers' are.

    Parameters
    ----------
    yard : Yard
    learned : Learned
    fleet : Path
        The fleet file, from which the yard was read.
    """
    whole = fleet.read_bytes().decode("utf-8")
    mark = BYTE_ORDER_MARK if whole.startswith(BYTE_ORDER_MARK) else ""
    file = FleetText(whole.removeprefix(mark))
    edits: list[Edit] = []
    by_hand: list[str] = []
    for change in _changes(yard, learned, file):
        # With those before it: two changes may be sound alone and not together.
        if change.edits and _is_right(file.changed([*edits, *change.edits]), fleet, change):
            edits += change.edits
        else:
            by_hand += change.by_hand
    changed = file.changed(edits)
    return Proposal(unified_diff(mark + file.text, mark + changed, fleet.name), tuple(by_hand))


def _is_right(text: str, fleet: Path, change: _Change) -> bool:
    """Whether a changed text reads as a fleet file that has the figure."""
    try:
        yard = parse_yard(fleet, text)
    except FleetFileError:
        return False
    return math.isclose(change.found(yard), change.wanted, rel_tol=ROUNDED_FRACTION)


def _changes(yard: Yard, learned: Learned, file: FleetText) -> Iterator[_Change]:
    chargers = [figure for figure in learned.figures if figure.kind == "charger"]
    for figure in learned.figures:
        if figure.kind != "charger" and not learned.is_starved and _is_off(figure):
            yield _OF_KIND[figure.kind](yard, figure, file)
    tables = file.machine_tables()
    for number in sorted({tables[figure.name] for figure in chargers}):
        yield from _chargers(number, [figure for figure in chargers if tables[figure.name] == number], file)


def _is_off(figure: Figure) -> bool:
    return figure.is_otherwise and abs(figure.factor_fraction - 1.0) >= LEAST_CHANGE_FRACTION


def _arrays(yard: Yard, figure: Figure, file: FleetText) -> _Change:
    """More or less of the sun, the same of every array: as its losses."""
    kept = [(1.0 - array.loss_fraction) * figure.factor_fraction for array in yard.arrays]
    losses_pct = [f"{pct_from_fraction(1.0 - part):.1f}" for part in kept]
    edits = [
        file.set_value(("arrays", number), "losses_pct", loss) for number, loss in enumerate(losses_pct)
    ]
    if max(kept) > 1.0:
        more = f"{figure.factor_fraction:.2f} times what the file lets expect, more than without any losses"
        by_hand: tuple[str, ...] = (f"[[arrays]]: they bring {more}; look at panels, panel_w and the weather",)
    else:
        by_hand = tuple(
            f'[[arrays]] "{array.name}": losses_pct = {loss}'
            for array, loss in zip(yard.arrays, losses_pct, strict=True)
        )
    wanted_w = _full_sun_w(yard) * figure.factor_fraction
    return _Change(_all_of(edits), by_hand, _full_sun_w, wanted_w)


def _full_sun_w(yard: Yard) -> float:
    return sum(array.rated_w * (1.0 - array.loss_fraction) for array in yard.arrays)


def _bank(yard: Yard, figure: Figure, file: FleetText) -> _Change:
    modules_wh = [_told(figure.factor_fraction * wh) for wh in yard.bank.modules_wh]
    edits = file.set_items(("bank", "modules_wh"), modules_wh)
    by_hand = (f"[bank]: modules_wh = [{', '.join(modules_wh)}]",)
    return _Change(edits, by_hand, lambda found: found.bank.capacity_wh, figure.value)


def _base_load(yard: Yard, figure: Figure, file: FleetText) -> _Change:
    """More is a load that the file lacks; less is less of each that it has."""
    always_on = [(number, load) for number, load in enumerate(yard.house_loads) if load.always_on]
    more_w = figure.value - figure.in_file
    unknown = [(number, load) for number, load in always_on if load.name == UNKNOWN_LOAD]
    if more_w > 0.0 and not unknown:
        told = (("name", f'"{UNKNOWN_LOAD}"'), ("watts", _told(more_w)), ("always_on", "true"))
        edits = file.add_table("house_loads", told)
        line = f"[[house_loads]]: {', '.join(f'{key} = {value}' for key, value in told)}"
        return _Change(edits, (line,), lambda found: found.always_on_w, figure.value)
    if more_w > 0.0:
        new = {number: _told(load.watts + more_w) for number, load in unknown}
    else:
        new = {number: _told(figure.factor_fraction * load.watts) for number, load in always_on}
    edits = _all_of([file.set_value(("house_loads", number), "watts", watts) for number, watts in new.items()])
    names = {number: load.name for number, load in always_on}
    by_hand = tuple(
        f'[[house_loads]] "{names[number]}": {f"watts = {watts}" if figure.value else "take it out, it does not run"}'
        for number, watts in new.items()
    )
    return _Change(edits, by_hand, lambda found: found.always_on_w, figure.value)


_OF_KIND: dict[str, Callable[[Yard, Figure, FleetText], _Change]] = {
    "array": _arrays,
    "bank": _bank,
    "base load": _base_load,
}


def _chargers(number: int, figures: Sequence[Figure], file: FleetText) -> Iterator[_Change]:
    """The chargers of one [[machines]], which has one figure for all of its `count`."""
    middle = np.log([figure.value for figure in figures])
    deviation = np.log([figure.high / figure.low for figure in figures]) / (2.0 * DEVIATIONS_95)
    weight = 1.0 / deviation**2
    mean, apart = float((weight * middle).sum() / weight.sum()), DEVIATIONS_95 / math.sqrt(weight.sum())
    value, low, high = (math.exp(mean + sign * apart) for sign in (0.0, -1.0, 1.0))
    together = replace(figures[0], value=value, low=low, high=high)
    is_alike = bool((np.abs(middle - mean) <= ALIKE_DEVIATIONS * deviation).all())
    names = {figure.name for figure in figures}

    def found_w(yard: Yard) -> float:
        return next(machine.charger_w for machine in yard.machines if machine.name in names)

    if is_alike and _is_off(together):
        edits = file.set_value(("machines", number), "charger_w", _told(value))
        by_hand = f'[[machines]] "{figures[0].name}": charger_w = {_told(value)}'
        yield _Change(edits, (by_hand,), found_w, value)
    elif not is_alike and any(_is_off(figure) for figure in figures):
        each = "; ".join(f'"{figure.name}" charger_w = {_told(figure.value)}' for figure in figures)
        by_hand = f"[[machines]]: a table each instead of one with count, for their chargers differ: {each}"
        yield _Change((), (by_hand,), found_w, value)


def _all_of(edits: Sequence[tuple[Edit, ...]]) -> tuple[Edit, ...]:
    """Put edits that go together into one; none where one of them has no place."""
    return tuple(edit for each in edits for edit in each) if all(edits) else ()


def _told(figure: float) -> str:
    """To three digits, whole numbers from 100 on."""
    return f"{float(f'{figure:.3g}'):g}" if figure < 1e5 else f"{figure:.0f}"
