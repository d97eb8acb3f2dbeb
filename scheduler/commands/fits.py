"""What ``sunroster fits`` does, free of the command line."""

from __future__ import annotations

import calendar
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scheduler.commands.studies import parse_first_day, read_typical_weather
from scheduler.commands.workers import worker_processes
from scheduler.errors import UsageError
from scheduler.yard.fleetfile import read_newcomers, read_yard
from scheduler.yard.models import Machine, Yard

if TYPE_CHECKING:
    from scheduler.studies.designweek import DesignWeek
    from scheduler.studies.fits import FitStudy
    from scheduler.studies.fitting import Fit, MonthFit
    from scheduler.studies.year import Tell, YearSettings
    from scheduler.studies.yearrecord import Readiness
    from scheduler.sun.typicalyear import TypicalYear


#: Many days are lived, so an aim that takes longer than this is left where it is [s]; most take a hundredth.
AIM_LIMIT_S = 2.0


@dataclass(frozen=True)
class FitRequest:
    """What was asked for on the command line."""

    fleet: Path
    newcomers: Path
    weather: Path | None = None
    seed: int = 0
    floor_pct: float = 10.0
    workers: int | None = None
    first_day: str | None = None
    n_days: int = 365


@dataclass(frozen=True)
class FitQuestion:
    """A yard, the machines thought of, and the weather."""

    yard: Yard
    newcomers: tuple[Machine, ...]
    weather: TypicalYear


def read_question(request: FitRequest) -> FitQuestion:
    """Read all files.

    Raises
    ------
    FleetFileError, WeatherFileError, UsageError
    """
    yard = read_yard(request.fleet)
    newcomers = read_newcomers(request.newcomers, request.fleet)
    idle = [
        machine.name for machine in newcomers if not any(isinstance(n.ready_by, int) for n in machine.needs)
    ]
    if idle:
        msg = (
            f"{request.newcomers}: {idle[0]} has no need that comes every week; give it a [[machines.needs]] with "
            "ready_by as a time, such as 07:00, and weekdays"
        )
        raise UsageError(msg)
    return FitQuestion(yard, newcomers, read_typical_weather(yard, request.fleet, request.weather))


def answer_in_full(question: FitQuestion, request: FitRequest, tell: Tell) -> FitStudy:
    """Live it all."""
    from scheduler.studies.fits import FitSettings, study_fit

    settings = FitSettings(_year_settings(request), request.floor_pct)
    with worker_processes(request.workers) as pool:
        return study_fit(question.yard, question.newcomers, question.weather, settings, pool, tell)


def answer_quickly(question: FitQuestion, request: FitRequest) -> tuple[DesignWeek, ...]:
    """Live the worst month's design weeks."""
    from scheduler.studies.designweek import study_design_weeks
    from scheduler.studies.worstmonth import month_suns

    months = month_suns(question.yard, question.weather)
    worst = min(months, key=lambda month: month.peak_sun_h).month
    settings = _year_settings(request)
    with worker_processes(request.workers) as pool:
        return study_design_weeks(question.yard, question.newcomers, question.weather, settings, worst, pool)


def _year_settings(request: FitRequest) -> YearSettings:
    from scheduler.studies.year import YearSettings

    settings = YearSettings(seed=request.seed, n_days=request.n_days, aim_limit_s=AIM_LIMIT_S)
    if request.first_day is None:
        return settings
    return replace(settings, first_day=parse_first_day(request.first_day))


def study_to_json(study: FitStudy, yard: Yard, source: str) -> dict[str, Any]:
    """Put a study into plain values, ``sunroster.fits/1``."""
    from scheduler.sheet.fitwords import answer
    from scheduler.studies.fitting import DEFINITION

    return {
        "format": "sunroster.fits/1",
        "site": yard.site.name,
        "source": source,
        "newcomers": list(study.newcomers),
        "definition": DEFINITION,
        "answer": answer(study.fit),
        **_fit(study.fit),
        "payers": [
            {
                "machine": payer.machine,
                "lost": payer.lost,
                "asked": payer.asked,
                "by_month": _named(payer.lost_by_month),
            }
            for payer in study.fit.payers
        ],
        "limits": [
            {"limit": limit.name, "eased": limit.words, **_month(limit.month)} for limit in study.limits
        ],
        "remedies": [
            {"kind": remedy.kind, "change": remedy.words, **_fit(remedy.fit)} for remedy in study.remedies
        ],
        "in_vain": list(study.in_vain),
        "lived_days": study.lived_days,
    }


def weeks_to_json(weeks: tuple[DesignWeek, ...], yard: Yard, source: str) -> dict[str, Any]:
    """Put a quick answer into plain values; the same format with ``design_weeks`` alone."""
    from scheduler.sheet.fitscreen import quick_answer
    from scheduler.studies.fitting import DEFINITION

    return {
        "format": "sunroster.fits/1",
        "site": yard.site.name,
        "source": source,
        "newcomers": list(weeks[0].fit.newcomers),
        "definition": DEFINITION,
        "answer": quick_answer(weeks),
        "design_weeks": [
            {"sun": week.sun, "sun_wh": week.sun_wh, **_month(week.fit.months[0])} for week in weeks
        ],
    }


def _fit(fit: Fit) -> dict[str, Any]:
    return {
        "fits": fit.fits,
        "months_that_fit": [calendar.month_name[month] for month in fit.months_that_fit],
        "months": [_month(month) for month in fit.months],
    }


def _month(month: MonthFit) -> dict[str, Any]:
    return {
        "month": calendar.month_name[month.month],
        "fits": month.fits,
        "newcomers": [_counts(one) for one in month.newcomers],
        "must": {"without": _counts(month.must_without), "with": _counts(month.must_with)},
        "others": {"without": _counts(month.others_without), "with": _counts(month.others_with)},
    }


def _counts(readiness: Readiness) -> dict[str, Any]:
    return {"ready": readiness.ready, "asked": readiness.asked, "short_wh": readiness.short_wh}


def _named(by_month: Mapping[int, int]) -> dict[str, int]:
    return {calendar.month_name[month]: number for month, number in by_month.items()}
