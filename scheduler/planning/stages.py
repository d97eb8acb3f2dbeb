"""The aims, each as something to be made small: what a pattern counts for, and what else does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scheduler.charging.patterns import PatternTable
from scheduler.charging.pieces import PieceTable
from scheduler.charging.routes import Arcs, Network
from scheduler.planning.bank import bank_path
from scheduler.planning.model import Case, ChoiceModel, Term, add_bank
from scheduler.planning.selection import Selection, draws_of, path_under
from scheduler.timegrid import FloatArray
from scheduler.units import kwh_from_wh
from scheduler.yard.models import PRIORITIES

#: Rounding of the solvers, when one aim is kept while the next is sought; relative, and at least absolute.
KEPT_SLACK = 1e-6


@dataclass(frozen=True)
class Weights:
    """What a pattern counts for in an aim: a need met of each class, a kWh short, a plug change."""

    met: tuple[float, float, float] = (0.0, 0.0, 0.0)
    short_kwh: float = 0.0
    changes: float = 0.0

    def of_patterns(self, table: PatternTable | PieceTable) -> FloatArray:
        """What each pattern of a table counts for, or each piece."""
        return self._of(table.met, table.short_wh, table.changes)

    def of_arcs(self, arcs: Arcs) -> FloatArray:
        """What each arc counts for; along a route they add up to the pattern, less what the start counts for."""
        return self._of(arcs.met, arcs.short_wh, arcs.changes)

    def of_start(self, network: Network) -> float:
        """What the needs at the very first edge count for."""
        at_start = network.at_start
        return float(self._of(at_start.met, at_start.short_wh, np.zeros(1))[0])

    def _of(self, met: np.ndarray, short_wh: FloatArray, changes: np.ndarray) -> FloatArray:
        counted: FloatArray = met @ np.array(self.met)
        return counted + self.short_kwh * kwh_from_wh(1.0) * short_wh + self.changes * changes


@dataclass(frozen=True)
class Stage:
    """One aim.

    Attributes
    ----------
    name : str
    weights : Weights
    told_by : float
        From what is minimised to what is told: -1 for aims that want the most, 1000 from kWh to Wh.
    whole : bool
        Whether the values are whole numbers.
    asks_twice : bool
        Whether HiGHS confirms it.
    energy : bool
        Whether the energy left under the likely sun is what counts, beside the weights.
    """

    name: str
    weights: Weights
    told_by: float = 1.0
    whole: bool = False
    asks_twice: bool = False
    energy: bool = False

    def terms(self, model: ChoiceModel) -> list[Term]:
        """Return the objective's terms; the energy aim adds the bank under the likely sun to the model."""
        terms = model.pick_terms([self.weights.of_patterns(table) for table in model.case.offers])
        if self.energy:
            case = model.case
            likely_w, empty_wh = case.suns.likely_w, np.zeros(case.agenda.grid.n_steps + 1)
            # A house that empties the bank even under the likely sun asks in vain there too.
            alone = bank_path(
                case.yard.bank, case.yard.bank.level_wh, likely_w - case.house.demand_w, case.agenda.grid
            )
            last = add_bank(model, "likely", likely_w, empty_wh, alone.unserved_wh)
            terms.append((last, -1.0))
        return terms

    def value(self, case: Case, selection: Selection) -> float:
        """Work out from a selection alone what is minimised."""
        counted = sum(
            float(self.weights.of_patterns(table.keep(np.array([row])))[0])
            for table, row in zip(case.tables, selection.rows, strict=True)
        )
        if self.energy:
            path = path_under(case, draws_of(case, selection), case.suns.likely_w)
            counted -= kwh_from_wh(float(path.level_wh[-1]))
        return counted

    def least(self, case: Case) -> float:
        """No selection can do better than this: every machine by itself, the bank full."""
        alone = sum(self._least_alone(case, number) for number in range(len(case.tables)))
        return alone - (kwh_from_wh(case.yard.bank.capacity_wh) if self.energy else 0.0)

    def _least_alone(self, case: Case, number: int) -> float:
        table = case.tables[number]
        if number not in case.parts:
            return float(self.weights.of_patterns(table).min())
        network = table.network
        total, _ = network.cheapest_route([self.weights.of_arcs(arcs) for arcs in network.layers])
        return total + self.weights.of_start(network)


def list_stages(case: Case) -> list[Stage]:
    """Return the aims of a case in their order; a class without needs is left out."""
    present = {need.priority for needs in case.agenda.needs.values() for need in needs}
    stages = []
    for rank, priority in enumerate(PRIORITIES):
        if priority in present:
            one = tuple(-1.0 if other == rank else 0.0 for other in range(len(PRIORITIES)))
            weights = Weights(met=(one[0], one[1], one[2]))
            stages.append(Stage(f"{priority} needs met", weights, told_by=-1.0, whole=True, asks_twice=True))
    stages.append(Stage("shortfall", Weights(short_kwh=1.0), told_by=1000.0))
    stages.append(Stage("plug changes", Weights(changes=1.0), whole=True))
    stages.append(Stage("energy left", Weights(), told_by=-1000.0, energy=True))
    return stages


def best_possible(stage: Stage, value: float) -> float:
    """Sharpen a bound: where values are whole numbers, the next whole number that it allows."""
    return float(np.ceil(value - KEPT_SLACK)) if stage.whole else value


def proof_slack(reached: float) -> float:
    """Below this a gap is the solvers' rounding: CBC's answers have 8 digits, and stages keep a slack."""
    return 1e-4 * max(1.0, abs(reached))


def kept_row(stage: Stage) -> str:
    """Name of the row that holds what an aim has reached."""
    return f"keep_{stage.name.replace(' ', '_')}"


def keep_aim(model: ChoiceModel, stage: Stage, value: float) -> None:
    """Hold what an aim has reached; the energy aim is the last and need not be held."""
    if not stage.energy:
        limit = value + KEPT_SLACK * max(1.0, abs(value))
        model.add(stage.terms(model), -1, limit, kept_row(stage))
