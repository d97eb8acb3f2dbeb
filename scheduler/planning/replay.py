"""The second route to a plan's figures: its decisions carried out minute by minute, held against its claims.

No plan leaves the program without it. What it takes from the plan is who is in which outlet and when that is
on, the visits' actions and the house loads' hours; every watt and watt-hour it makes itself
(`replay_physics`), checks the rules one by one (`replay_checks`), and compares.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from scheduler.planning.record import Plan, ReplayReport, Violation
from scheduler.planning.replay_case import Case, build_case
from scheduler.planning.replay_checks import CHECKS
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import FloatArray
from scheduler.units import AGREEMENT_FRACTION, pct_from_fraction
from scheduler.yard.agenda import Agenda
from scheduler.yard.models import Yard


def replay_plan(yard: Yard, agenda: Agenda, suns: ThreeSuns, plan: Plan) -> ReplayReport:
    """Carry out a plan and list what it breaks of R1 to R12, and where its figures are not the replay's.

    Parameters
    ----------
    yard, agenda, suns
        Trusted: what stands there, what the clock asks, what the sun brings (R2).
    plan : Plan
        Only its decisions are followed; its figures are claims.

    Returns
    -------
    ReplayReport
        `largest_difference_wh` over every bank and charge curve. A plan whose shape is wrong (R1) cannot be
        carried out: its report holds that alone, and an infinite difference.

    Raises
    ------
    ValueError
        If agenda and suns do not stand on one grid.
    """
    if suns.grid != agenda.grid:
        msg = "the suns and the agenda must stand on one grid"
        raise ValueError(msg)
    malformed = tuple(check_form(yard, agenda, plan))
    if malformed:
        return ReplayReport(malformed, float("inf"))
    case = build_case(yard, agenda, suns, plan)
    curves = tuple(_curves(case))
    claims = (*curves, *_further_claims(case))
    violations = (
        *_check_suns(suns, plan),
        *(violation for check in CHECKS for violation in check(case)),
        *(violation for claim in claims for violation in _disagreement(case, claim)),
    )
    return ReplayReport(violations, max(curve.largest_difference for curve in curves))


def check_form(yard: Yard, agenda: Agenda, plan: Plan) -> Iterator[Violation]:
    """R1: the plan stands on the agenda's grid, names what is there, and its series are whole and finite."""
    n_steps = agenda.grid.n_steps
    if plan.grid != agenda.grid:
        yield _form("the plan is not on the agenda's grid")
    for kind, planned, own in (
        ("machines", [item.name for item in plan.machines], [item.name for item in yard.machines]),
        ("house loads", [item.name for item in plan.house_loads], [item.name for item in yard.house_loads]),
    ):
        if sorted(planned) != sorted(own):
            yield _form(f"the plan's {kind} are {', '.join(planned)}, the yard's {', '.join(own)}")
    outlets = {None, *(outlet.name for outlet in yard.outlets)}
    for machine in plan.machines:
        plugged = machine.plugged
        if len(machine.outlet) != n_steps or plugged.shape != (n_steps,) or plugged.dtype != bool:
            yield _form(f"{machine.name}: wanted an outlet and a true or false in each of {n_steps} steps")
        for name in sorted({name for name in machine.outlet if name not in outlets}, key=str):
            yield _form(f"{machine.name}: there is no outlet {name}")
        if not np.isfinite([value for need in machine.needs for value in (need.need_wh, need.have_wh)]).all():
            yield _form(f"{machine.name}: a need is not a finite number")
    for name, series, length in _series(plan, n_steps):
        if np.shape(series) != (length,) or not np.isfinite(series).all():
            yield _form(f"{name}: wanted {length} finite numbers")
    if set(plan.bank.level_wh) != set(plan.suns.by_name):
        yield _form(f"the bank's levels are for {', '.join(plan.bank.level_wh)}, not for the three suns")
    for visit in plan.visits:
        if set(visit.bank_pct) != set(plan.suns.by_name) or not np.isfinite([*visit.bank_pct.values()]).all():
            yield _form(f"the visit at edge {visit.edge} wants a finite bank level for each sun")


def _series(plan: Plan, n_steps: int) -> Iterator[tuple[str, FloatArray, int]]:
    """Every series of a plan with its name and the length it must have."""
    for machine in plan.machines:
        yield f"{machine.name}, energy at the wall", machine.wall_wh, n_steps
        yield f"{machine.name}, charge", machine.charge_wh, n_steps + 1
    for load in plan.house_loads:
        yield f"{load.name}, energy at the wall", load.wall_wh, n_steps
    for sun, level_wh in plan.bank.level_wh.items():
        yield f"bank level under the {sun} sun", level_wh, n_steps + 1
    yield "lowest bank level allowed", plan.bank.allowed_wh, n_steps + 1
    yield "inverter peak", plan.inverter_peak_w, n_steps


def _check_suns(suns: ThreeSuns, plan: Plan) -> Iterator[Violation]:
    """R2: the plan was made for the suns that are given, to the last digit."""
    given = {**suns.by_name, "shed temperature": suns.shed_temp_c}
    planned = {**plan.suns.by_name, "shed temperature": plan.suns.shed_temp_c}
    for name, series in given.items():
        apart = np.abs(planned[name] - series) if planned[name].shape == series.shape else np.array([np.inf])
        if apart.max() > 0.0:
            text = f"{name}: the plan's series is off by up to {apart.max():.3g} (R2)"
            yield Violation("R2", int(apart.argmax()), float(apart.max()), text)


@dataclass(frozen=True)
class _Curve:
    """A series that the plan claims beside the replay's own, and how far they may be apart."""

    name: str
    unit: str
    claimed: FloatArray
    own: FloatArray
    allowed_difference: float
    edges: tuple[int, ...] | None = None

    @property
    def largest_difference(self) -> float:
        return float(np.abs(self.claimed - self.own).max(initial=0.0))


def _curves(case: Case) -> Iterator[_Curve]:
    """Every bank and charge curve of the plan."""
    bank = case.yard.bank
    bank_allowed_wh = AGREEMENT_FRACTION * bank.capacity_wh
    for sun, own_wh in _levels(case).items():
        claimed_wh = case.plan.bank.level_wh[sun]
        yield _Curve(f"bank level under the {sun} sun", "Wh", claimed_wh, own_wh, bank_allowed_wh)
    lowest = "lowest bank level allowed"
    yield _Curve(lowest, "Wh", case.plan.bank.allowed_wh, case.allowed_wh, bank_allowed_wh)
    for column, machine in enumerate(case.yard.machines):
        planned, allowed_wh = case.machine_plan(machine), AGREEMENT_FRACTION * machine.capacity_wh
        own_wh = case.own.loads.charge_wh[:, column]
        yield _Curve(f"charge of {machine.name}", "Wh", planned.charge_wh, own_wh, allowed_wh)


def _further_claims(case: Case) -> Iterator[_Curve]:
    """Return the other claims: energy at the wall, inverter peaks, the bank at the visits and its sizes."""
    grid, bank = case.grid, case.yard.bank
    for column, machine in enumerate(case.yard.machines):
        # Summed up, so that many small differences count as the one large difference they are.
        claimed_wh = np.cumsum(case.machine_plan(machine).wall_wh)
        own_wh = np.cumsum(case.own.loads.wall_wh[:, column])
        allowed_wh = AGREEMENT_FRACTION * machine.capacity_wh / machine.charger_efficiency
        name = f"energy at the wall of {machine.name} since the start"
        yield _Curve(name, "Wh", claimed_wh, own_wh, allowed_wh)
    peak_w = case.own.loads.ac_w.reshape(grid.n_steps, grid.step_minutes).max(axis=1)
    allowed_w = AGREEMENT_FRACTION * case.yard.inverter.continuous_w
    yield _Curve("inverter peak", "W", case.plan.inverter_peak_w, peak_w, allowed_w)
    visits = [visit for visit in case.plan.visits if 0 <= visit.edge <= grid.n_steps]
    edges = tuple(visit.edge for visit in visits)
    for sun, own_wh in _levels(case).items():
        claimed_pct = np.array([visit.bank_pct[sun] for visit in visits])
        own_pct = pct_from_fraction(1.0) * own_wh[list(edges)] / bank.capacity_wh
        allowed_pct = pct_from_fraction(AGREEMENT_FRACTION)
        yield _Curve(f"bank at the visits under the {sun} sun", "%", claimed_pct, own_pct, allowed_pct, edges)
    claimed_wh, own_wh = np.array([case.plan.bank.capacity_wh]), np.array([bank.capacity_wh])
    yield _Curve("the bank's capacity", "Wh", claimed_wh, own_wh, 0.0)
    claimed_wh, own_wh = np.array([case.plan.bank.reserve_wh]), np.array([bank.reserve_wh])
    yield _Curve("the bank's reserve", "Wh", claimed_wh, own_wh, 0.0)


def _disagreement(case: Case, curve: _Curve) -> Iterator[Violation]:
    """One violation a curve, where it is furthest from the replay's."""
    if curve.largest_difference <= curve.allowed_difference:
        return
    worst = int(np.abs(curve.claimed - curve.own).argmax())
    edge = worst if curve.edges is None else curve.edges[worst]
    text = (
        f"{case.clock(edge)}: {curve.name}: the plan says {curve.claimed[worst]:.1f} {curve.unit}, "
        f"the replay {curve.own[worst]:.1f} {curve.unit}"
    )
    yield Violation("agreement", edge, curve.largest_difference, text)


def _levels(case: Case) -> dict[str, FloatArray]:
    return {sun: case.own.bank.level_wh[:, column] for column, sun in enumerate(case.suns.by_name)}


def _form(text: str) -> Violation:
    return Violation("R1", 0, 1.0, f"{text} (R1)")
