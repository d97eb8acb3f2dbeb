"""A year for other programs: JSON ``sunroster.year/1``, and a table by day."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from scheduler.studies.worstweek import worst_week
from scheduler.studies.yearrecord import DayLived, Readiness, YearLived
from scheduler.studies.yearstudy import YearStudy
from scheduler.studies.yearsums import INTERVAL_FRACTION, Interval
from scheduler.units import pct_from_fraction
from scheduler.yard.models import PRIORITIES

FORMAT = "sunroster.year/1"

_Ready = Callable[..., dict[str, Any]]


def render_year_json(study: YearStudy) -> str:
    """Return the whole study as JSON."""
    return json.dumps(year_to_json(study), indent=1, ensure_ascii=False) + "\n"


def year_to_json(study: YearStudy) -> dict[str, Any]:
    """Return the whole study as lists and dictionaries."""
    year, settings = study.year, study.settings

    def ready(**of: Any) -> dict[str, Any]:
        return {**_readiness(year.readiness(**of)), **_interval(study.interval(**of))}

    week = worst_week(year)
    return {
        "format": FORMAT,
        "site": year.site,
        "timezone": study.timezone,
        "sun": year.source,
        "seed": settings.seed,
        "first_day": settings.first_day.isoformat(),
        "days_asked": settings.n_days,
        "days_lived": len(year.days),
        "step_minutes": study.step_minutes,
        "plans_look_ahead_h": settings.ahead_h,
        "unproven_plans": sum(day.unproven_plans for day in year.days),
        "readiness": {"all": ready(), **{priority: ready(priority=priority) for priority in PRIORITIES}},
        "machines": _machines(year, ready),
        "months": [
            {
                "month": month,
                **{priority: ready(priority=priority, month=month) for priority in PRIORITIES},
                "energy": _energy(year, month),
            }
            for month in year.months
        ],
        "energy": {**_energy(year), "residual_wh": year.residual_wh},
        "bank": {
            "capacity_wh": year.bank_capacity_wh,
            "reserve_wh": year.reserve_wh,
            "start_wh": year.start_level_wh,
            "full_cycles": year.bank_full_cycles,
        },
        "worst_week": None if week is None else json.loads(json.dumps(asdict(week), default=str)),
        "resampled": {
            "years": len(study.resampled),
            "interval_pct": pct_from_fraction(INTERVAL_FRACTION),
            "each": [
                {
                    "number": sums.number,
                    **{priority: _readiness(sums.readiness(priority=priority)) for priority in PRIORITIES},
                }
                for sums in study.resampled
            ],
        },
        "rules_of_thumb": [_rule(rule) for rule in study.rules],
        "perfect_foresight": None if study.foresight is None else asdict(study.foresight),
        "score_pct": {name: pct_from_fraction(share) for name, share in study.score.items()},
        "notes": list(year.notes),
        "days": [_day(day) for day in year.days],
    }


def _readiness(of: Readiness) -> dict[str, Any]:
    return {
        "ready": of.ready,
        "asked": of.asked,
        "ready_pct": pct_from_fraction(of.fraction),
        "short_wh": of.short_wh,
    }


def _interval(of: Interval | None) -> dict[str, Any]:
    if of is None:
        return {}
    return {
        "resampled_pct": [pct_from_fraction(of.low_fraction), pct_from_fraction(of.high_fraction)],
        "resampled_range_pct": [pct_from_fraction(of.least_fraction), pct_from_fraction(of.most_fraction)],
    }


def _machines(year: YearLived, ready: _Ready) -> list[dict[str, Any]]:
    return [
        {
            "name": name,
            **ready(machine=name),
            "by_month": {str(month): ready(machine=name, month=month) for month in year.months},
            "wall_wh": year.total(lambda day, at=at: day.machines_wh[at]),  # type: ignore[misc]
            "work_wh": year.total(lambda day, at=at: day.work_wh[at]),  # type: ignore[misc]
            "full_cycles": year.machine_full_cycles[at],
        }
        for at, name in enumerate(year.machines)
    ]


def _energy(year: YearLived, month: int | None = None) -> dict[str, Any]:
    names = (
        "sun_wh",
        "curtailed_wh",
        "inverter_loss_wh",
        "bank_in_loss_wh",
        "bank_out_loss_wh",
        "unserved_wh",
    )
    sums: dict[str, Any] = {
        name: year.total(lambda day, name=name: getattr(day, name), month)  # type: ignore[misc]
        for name in names
    }
    sums["house_wh"] = {
        load: year.total(lambda day, at=at: day.house_wh[at], month)  # type: ignore[misc]
        for at, load in enumerate(year.house_loads)
    }
    sums["machines_wh"] = year.total(lambda day: sum(day.machines_wh), month)
    for name in ("at_reserve_h", "below_reserve_h", "ac_off_h", "outside_window_h", "misplugged_h"):
        sums[name] = year.total(lambda day, name=name: getattr(day, name), month)  # type: ignore[misc]
    return sums


def _rule(year: YearLived) -> dict[str, Any]:
    return {
        "name": year.hand,
        **{priority: _readiness(year.readiness(priority=priority)) for priority in PRIORITIES},
        "energy": _energy(year),
    }


def _day(day: DayLived) -> dict[str, Any]:
    return {**asdict(day), "date": day.date.isoformat()}


def render_days_csv(year: YearLived) -> str:
    """Return a table with a row a day."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    plain = [
        "sun_wh", "dull_wh", "likely_wh", "bright_wh", "curtailed_wh", "inverter_loss_wh", "bank_in_loss_wh",
        "bank_out_loss_wh", "unserved_wh", "level_wh", "lowest_wh", "at_reserve_h", "below_reserve_h", "ac_off_h",
        "outside_window_h",
    ]  # fmt: skip
    counts = [f"{priority}_{what}" for priority in PRIORITIES for what in ("ready", "asked")]
    table.writerow(["date", *plain, "house_wh", "machines_wh", *counts, "short_wh", "not_ready"])
    for day in year.days:
        by_class = [Readiness.of(n for n in day.needs if n.priority == priority) for priority in PRIORITIES]
        figures = [*(getattr(day, name) for name in plain), sum(day.house_wh), sum(day.machines_wh)]
        table.writerow(
            [
                day.date.isoformat(),
                *(f"{figure:.6g}" for figure in figures),
                *(count for readiness in by_class for count in (readiness.ready, readiness.asked)),
                f"{sum(need.short_wh for need in day.needs):.6g}",
                "; ".join(need.machine for need in day.needs if not need.ready),
            ]
        )
    return out.getvalue()
