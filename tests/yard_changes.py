"""The same yard with more of something, or with everything larger by a factor (ID-03, ID-04)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from scheduler.sun.suns import ThreeSuns
from scheduler.yard.models import Need
from tests.oracle_physics import Case


def with_panels(case: Case, _: int) -> Case:
    suns = case.suns
    more = [1.5 * suns.dull_w, 1.5 * suns.likely_w, 1.5 * suns.bright_w]
    return replace(case, suns=ThreeSuns(suns.grid, *more, suns.shed_temp_c, suns.source))


def with_module(case: Case, _: int) -> Case:
    bank = case.yard.bank
    larger = bank.model_copy(update={"modules_wh": (*bank.modules_wh, bank.modules_wh[0])})
    return replace(case, yard=case.yard.model_copy(update={"bank": larger}))


def with_outlet(case: Case, which: int) -> Case:
    like = case.yard.outlets[which % len(case.yard.outlets)]
    more = (*case.yard.outlets, like.model_copy(update={"name": "one more"}))
    return replace(case, yard=case.yard.model_copy(update={"outlets": more}))


def with_visit(case: Case, which: int) -> Case | None:
    """One more after the first: an earlier first one takes what was found plugged in away from the house."""
    visits = case.agenda.visits
    free = [edge for edge in range(visits[0], case.agenda.grid.n_steps) if edge not in visits] if visits else []
    if not free:
        return None
    more = tuple(sorted({*visits, free[which % len(free)]}))
    return replace(case, agenda=replace(case.agenda, visits=more))


def with_inverter(case: Case, _: int) -> Case:
    inverter = case.yard.inverter
    surge_w = None if inverter.surge_w is None else 1.5 * inverter.surge_w
    larger = inverter.model_copy(update={"continuous_w": 1.5 * inverter.continuous_w, "surge_w": surge_w})
    return replace(case, yard=case.yard.model_copy(update={"inverter": larger}))


MORE: dict[str, Callable[[Case, int], Case | None]] = {
    "panels": with_panels,
    "bank": with_module,
    "outlets": with_outlet,
    "visits": with_visit,
    "inverter": with_inverter,
}


def scaled(case: Case, factor: float) -> Case:
    """Scale every power, energy and limit; efficiencies, percents and times stay."""
    yard = case.yard
    fields: dict[str, Any] = {
        "bank": _times(yard.bank, factor, "charge_max_w", "discharge_max_w").model_copy(
            update={"modules_wh": tuple(factor * wh for wh in yard.bank.modules_wh)}
        ),
        "inverter": _times(yard.inverter, factor, "continuous_w", "surge_w", "idle_w"),
        "outlets": tuple(_times(outlet, factor, "max_w", "breaker_a") for outlet in yard.outlets),
        "house_loads": tuple(_times(load, factor, "watts", "surge_w") for load in yard.house_loads),
        "machines": tuple(
            _times(machine, factor, "battery_wh", "charger_w").model_copy(
                update={"needs": tuple(_scaled_need(need, factor) for need in machine.needs)}
            )
            for machine in yard.machines
        ),
    }
    suns = case.suns
    more = [factor * suns.dull_w, factor * suns.likely_w, factor * suns.bright_w]
    needs = {
        name: tuple(replace(due, need_wh=factor * due.need_wh, work_wh=factor * due.work_wh) for due in dues)
        for name, dues in case.agenda.needs.items()
    }
    return Case(
        yard.model_copy(update=fields),
        replace(case.agenda, needs=needs),
        ThreeSuns(suns.grid, *more, suns.shed_temp_c, suns.source),
    )


def _scaled_need(need: Need, factor: float) -> Need:
    return _times(need, factor, "energy_wh", "draw_w", "wh_per_km", "wh_per_mile")


def _times(record: Any, factor: float, *keys: str) -> Any:
    return record.model_copy(
        update={key: factor * getattr(record, key) for key in keys if getattr(record, key) is not None}
    )
