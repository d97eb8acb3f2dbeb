"""What must hold of every yard, whatever is in it; each check raises with the yard's story.

`tests/test_generated_yards.py` and `tests/benchmarks/generated.py` put drawn yards through them.
"""

from __future__ import annotations

import collections
import datetime as dt
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from scheduler.planning.planjson import plan_to_json
from scheduler.planning.planner import Settings, draw_up_plan, make_plan
from scheduler.planning.record import AimStatus, Plan
from scheduler.yard.models import PRIORITIES, Yard
from tests.oracle_house import house_of, least_shortage_wh, shortage_wh
from tests.oracle_milp import House, best_by_network
from tests.oracle_network import TooMany
from tests.oracle_physics import MET_WH, Case, bank_draw_wh, bank_levels_wh, charging
from tests.page_properties import broken, live_by_page, low_arrivals, sure_needs
from tests.random_yards import show
from tests.whole_yards import MOST_MACHINE_STEPS, kinds_of, whole_yards
from tests.yard_changes import MORE, scaled

MADE_AT = dt.datetime(2027, 1, 1, tzinfo=dt.UTC)
#: Plan and physics agree within this share of a capacity (the design's rule for plan and replay).
AGREEMENT = 0.005
#: R4 is eased by this much for the oracle: where a level lies on the reserve, rounding shall not decide [Wh].
ON_THE_RESERVE_WH = 0.01


@dataclass
class Tally:
    """What became of the yards; with `goes_on` failures are counted and not raised."""

    goes_on: bool = False
    yards: int = 0
    failed: list[tuple[Case, str]] = field(default_factory=list)
    told: set[str] = field(default_factory=set)
    kinds: collections.Counter[str] = field(default_factory=collections.Counter)
    checked: collections.Counter[str] = field(default_factory=collections.Counter)
    seconds: collections.Counter[str] = field(default_factory=collections.Counter)


@dataclass(frozen=True)
class Trial:
    """A yard with its plan, and how long solvers may take."""

    case: Case
    plan: Plan
    settings: Settings
    house: House
    oracle_limit_s: float
    tally: Tally

    @property
    def house_holds(self) -> bool:
        """Whether the house alone can keep R3 to R5."""
        return self.house.duty is None

    def story(self, *told: object) -> str:
        """Everything that a failing check has to say."""
        visits = [f"  {visit}" for visit in self.plan.visits]
        return "\n".join([*map(str, told), f"aims {self.plan.aims}", *visits, show(self.case), repr(self.case.yard)])

    def done(self, what: str) -> None:
        """Count a check."""
        self.tally.checked[what] += 1


def try_yards(
    first_seed: int, yards: int, tally: Tally, most_machines: int = 15, most_machine_steps: int = MOST_MACHINE_STEPS
) -> None:
    """Draw yards, the same for the same seed, and put each through every check.

    A yard that fails is made as small as it can be and still fails, unless the tally goes on.
    """
    phases = [Phase.generate] if tally.goes_on else [Phase.generate, Phase.shrink]

    @seed(first_seed)
    @settings(
        max_examples=yards, deadline=None, database=None, phases=phases, suppress_health_check=list(HealthCheck)
    )
    @given(whole_yards(most_machines, most_machine_steps), st.tuples(st.integers(0, 10**6), st.integers(0, 10**4)))
    def every_yard_holds(case: Case, choices: tuple[int, int]) -> None:
        try:
            try_yard(case, choices, tally)
        except Exception as fault:
            if not tally.goes_on:
                raise
            tally.failed.append((case, f"{type(fault).__name__}: {fault}"))

    every_yard_holds()


def try_yard(
    case: Case,
    choices: tuple[int, int],
    tally: Tally,
    *,
    aim_limit_s: float = 3.0,
    oracle_limit_s: float = 10.0,
) -> None:
    """Put one yard through every check; `choices` say which sun comes and what is added."""
    tally.yards += 1
    if repr(case) not in tally.told:  # Hypothesis tries some yards twice
        tally.told.add(repr(case))
        tally.kinds.update(kinds_of(case))
    settings = Settings(aim_limit_s=aim_limit_s, reasons_limit_s=1.0)
    begun = time.perf_counter()
    plan = make_plan(case.yard, case.agenda, case.suns, settings, MADE_AT)
    tally.seconds["plan"] += time.perf_counter() - begun
    duty = {planned.name: planned.wall_wh > 0 for planned in plan.house_loads}
    house = house_of(case, {load.name: duty[load.name] for load in case.yard.house_loads if not load.always_on})
    trial = Trial(case, plan, settings, house, oracle_limit_s, tally)
    checks: dict[str, Callable[[], None]] = {
        "replay": lambda: check_replay(trial),
        "agreement": lambda: check_agreement(trial),
        "house": lambda: check_house(trial),
        "optimum": lambda: check_optimum(trial),
        "page": lambda: check_page(trial, choices[0]),
        "low": lambda: check_low(trial),
        "more": lambda: check_more(trial, choices[1]),
        "scaling": lambda: check_scaling(trial, (0.5, 2.0, 4.0)[choices[1] % 3]),
        "bytes": lambda: check_bytes(trial),
    }
    # Two plans more for every yard, not three: the dearest checks take turns.
    del checks["scaling" if choices[0] % 2 else "bytes"]
    for name, check in checks.items():
        begun = time.perf_counter()
        check()
        tally.seconds[name] += time.perf_counter() - begun


def met_by(plan: Plan) -> tuple[int, ...]:
    """Needs met by class."""
    ready = [need.priority for machine in plan.machines for need in machine.needs if need.ready]
    return tuple(ready.count(priority) for priority in PRIORITIES)


def proven(plan: Plan) -> int:
    """How many classes, must first, are proven one after the other; without needs there is nothing to prove."""
    status = {aim.name: aim.status for aim in plan.aims}
    named = [status.get(f"{priority} needs met", AimStatus.PROVEN) for priority in PRIORITIES]
    return next((n for n, each in enumerate(named) if each is not AimStatus.PROVEN), len(named))


# ---- the checks ------------------------------------------------------------------------------------------------


def check_replay(trial: Trial) -> None:
    """The plan replays clean: nothing of R1 to R12 is broken, and the curves agree with the replay's."""
    report = trial.plan.replay
    assert report is not None, "no replay"
    assert not report.violations, trial.story(*report.violations)
    assert "no solver answered" not in trial.plan.made_by, trial.story(trial.plan.made_by, *trial.plan.notes)
    trial.done("replayed clean")


def check_agreement(trial: Trial) -> None:
    """A third physics, the oracle's, gives the plan's curves too, within 0.5 % of capacity."""
    case, plan = trial.case, trial.plan
    ac = sum((load.wall_wh for load in plan.house_loads), np.zeros(case.agenda.grid.n_steps))
    dc = np.zeros_like(ac)
    for machine, planned in zip(case.yard.machines, plan.machines, strict=True):
        charge = charging(case, machine, planned.plugged)
        apart = np.abs(planned.charge_wh - charge.stored_wh).max()
        assert apart <= AGREEMENT * machine.capacity_wh, trial.story(machine.name, apart)
        for need, have in zip(planned.needs, charge.have_wh, strict=True):
            assert need.ready == (have >= need.need_wh - MET_WH), trial.story(machine.name, need, have)
        if machine.supply == "ac":
            ac = ac + charge.wall_wh
        else:
            dc = dc + charge.wall_wh
    for sun, watts in case.suns.by_name.items():
        levels, within = bank_levels_wh(case, watts, bank_draw_wh(case, ac, dc))
        if not trial.house_holds and (levels.min() < 0 or not within):
            continue  # the house alone asks more than the bank has: then it is not served
        apart = np.abs(levels - plan.bank.level_wh[sun]).max()
        assert apart <= AGREEMENT * case.yard.bank.capacity_wh, trial.story(sun, apart)
        if sun == "dull" and trial.house_holds:
            assert within, trial.story("the bank gives more than it may")
    trial.done("agrees with a third physics")


def check_optimum(trial: Trial) -> None:
    """No hand meets more needs, by an independent model, wherever both are proven; nor does the house hold better."""
    case, plan = trial.case, trial.plan
    try:
        best = best_by_network(
            case, ON_THE_RESERVE_WH, needs_only=True, time_limit_s=trial.oracle_limit_s, house=trial.house
        )
    except TooMany:
        trial.done("not compared: too large for the independent model")
        return
    except RuntimeError:
        trial.done("not compared: the independent model out of time")
        return
    sure = proven(plan)
    met, most = met_by(plan), (best.must, best.should, best.could)
    assert met <= most, trial.story(f"the plan meets {met}, the independent optimum {most}")
    assert met[:sure] == most[:sure], trial.story(f"the plan meets {met}, the independent optimum {most}")
    trial.done("must needs equal an independent optimum" if sure else "must needs not proven by the plan")
    if sure == len(met):
        trial.done("all classes equal an independent optimum")


def check_house(trial: Trial) -> None:
    """Where the house can hold, a plan takes no leave; where it cannot, its duty loads run with least shortage."""
    plan, house, bank, inverter = trial.plan, trial.house, trial.case.yard.bank, trial.case.yard.inverter
    apart = np.abs(house.allowed_wh - plan.bank.allowed_wh).max()
    assert apart <= AGREEMENT * bank.capacity_wh, trial.story(f"the least level allowed is {apart} Wh off")
    if trial.house_holds:
        over_w = plan.inverter_peak_w.max() - inverter.continuous_w
        assert over_w <= 0.01, trial.story(f"{over_w} W over the inverter though the house alone can hold")
        return
    least = least_shortage_wh(trial.case)
    if least is not None:
        short = shortage_wh(trial.case, trial.house.duty or {})
        # The planner's model may leave unserved now what physics leaves so later: then the level in between is off.
        slack = trial.case.agenda.grid.n_steps * bank.reserve_wh if trial.house.unserved_wh.any() else 0.0
        assert short <= least * (1 + 1e-4) + 1.0 + slack, trial.story(f"the house is {short} short, at best {least}")
        trial.done("the house alone short, by no more than it must")


def check_page(trial: Trial, which: int) -> None:
    """A hand that reads only the page keeps R4, R5, R6, R8 and the sure needs under a sun no worse than dull."""
    dull, bright = trial.case.suns.dull_w, trial.case.suns.bright_w
    rng = np.random.default_rng(which)
    blocks = rng.choice([0.0, 0.0, 0.3, 1.0, 3.0], size=(3, -(-len(dull) // 4))).repeat(4, axis=1)[:, : len(dull)]
    for sun_w in (dull, bright, *(dull + block * (bright - dull) for block in blocks)):
        lived = live_by_page(trial.case, trial.plan, sun_w)
        problems = [*broken(trial.case, trial.plan, lived)]
        problems += [f"{need} is sure and was not met" for need in sure_needs(trial.plan) - lived.met]
        assert not problems, trial.story(*problems, sun_w.tolist())
        trial.tally.checked["if lines that a hand followed"] += lived.added
    trial.done("page lived under 5 suns")


def check_low(trial: Trial) -> None:
    """Where the bank shows less than the sure lines need, what the page has unplugged first is enough."""
    for low in low_arrivals(trial.case, trial.plan):
        lived = live_by_page(trial.case, trial.plan, trial.case.suns.dull_w, low)
        problems = [*broken(trial.case, trial.plan, lived, low.edge)]
        assert not problems, trial.story(*problems, f"with {low.bank_pct} % at edge {low.edge}")
        trial.tally.checked["lines on a bank that shows less, followed"] += 1
    trial.done("page lived with less in the bank")


def check_more(trial: Trial, which: int) -> None:
    """More panels, bank, outlets, visits or inverter never lower the optimum (ID-03).

    Where the house alone cannot hold there is no such law: a plan is then held to do no worse than the house, and a
    larger bank would hold it to more.
    """
    if not trial.house_holds or not proven(trial.plan):
        return
    name, add = tuple(MORE.items())[which % len(MORE)]
    richer = add(trial.case, which // len(MORE))
    if richer is None:
        return
    plan = draw_up_plan(richer.yard, richer.agenda, richer.suns, trial.settings, MADE_AT)
    sure = min(proven(plan), proven(trial.plan))
    before, after = met_by(trial.plan)[:sure], met_by(plan)[:sure]
    assert after >= before, trial.story(f"with more {name} {after} needs met by class instead of {before}")
    trial.done(f"more {name} not worse" if sure else f"more {name}: not proven")


def check_scaling(trial: Trial, factor: float) -> None:
    """With all powers and energies times a factor the same needs can be met, and shortfalls scale (ID-04)."""
    if not proven(trial.plan):
        return
    larger = scaled(trial.case, factor)
    plan = draw_up_plan(larger.yard, larger.agenda, larger.suns, trial.settings, MADE_AT)
    sure = min(proven(plan), proven(trial.plan))
    before, after = met_by(trial.plan)[:sure], met_by(plan)[:sure]
    assert after == before, trial.story(f"times {factor}: {after} needs met by class instead of {before}")
    both = [{aim.name: aim for aim in each.aims} for each in (trial.plan, plan)]
    for name, unit in (("shortfall", factor), ("plug changes", 1.0)):
        if not all(aims[name].status is AimStatus.PROVEN for aims in both) or sure < len(PRIORITIES):
            break
        once, scaled_up = (aims[name].value for aims in both)
        slack = max(0.02 * max(1.0, unit), 2e-4 * abs(scaled_up))
        assert abs(once * unit - scaled_up) <= slack, trial.story(f"times {factor}: {name} {once} became {scaled_up}")
    trial.done("scaling changes nothing" if sure else "scaling: not proven")


def check_bytes(trial: Trial) -> None:
    """The same input gives the same bytes, seconds apart; a plan that ran out of time depends on the machine.

    So may the schedule of duty loads that no house can hold, which has a time limit of its own and does not tell.
    """
    if any(aim.status is not AimStatus.PROVEN for aim in trial.plan.aims):
        return
    if trial.case.agenda.duties and not trial.house_holds:
        return
    case, yard = trial.case, trial.case.yard
    again = draw_up_plan(case.yard, case.agenda, case.suns, trial.settings, MADE_AT)
    first, second = (told_of(plan, yard) for plan in (trial.plan, again))
    differing = [key for key in first if first[key] != second[key]]
    assert not differing, trial.story(*(f"{key}: {first[key]} and {second[key]}" for key in differing))
    trial.done("same input, same bytes")


def told_of(plan: Plan, yard: Yard) -> dict[str, Any]:
    """What a plan's JSON says, without the seconds and what only `make_plan` adds."""
    bare = [
        replace(machine, needs=tuple(replace(need, because=None, would_help=()) for need in machine.needs))
        for machine in plan.machines
    ]
    timeless = tuple(replace(aim, seconds=0.0) for aim in plan.aims)
    plain = replace(plan, machines=tuple(bare), aims=timeless, replay=None, compared_with=(), notes=())
    return plan_to_json(plain, yard)
