"""What a fit says in a sentence: months by name, needs lost and kept."""

from __future__ import annotations

import calendar
from collections.abc import Sequence

from scheduler.studies.fitting import Fit, MonthFit, Payer
from scheduler.studies.yearrecord import Readiness

_YEAR = 12


def answer(fit: Fit) -> str:
    """Say it in one sentence: ``The loader fits from March to October``."""
    names = listed(fit.newcomers)
    several = len(fit.newcomers) > 1
    verb = "fit" if several else "fits"
    if fit.fits:
        return f"The {names} {verb}."
    if not fit.months_that_fit:
        return f"The {names} {'do' if several else 'does'} not fit."
    return f"The {names} {verb} {months_named(fit.months_that_fit)}."


def listed(names: Sequence[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def months_named(months: Sequence[int]) -> str:
    """``from March to October``, ``in May``, ``in February and from April to June``."""
    if len(set(months)) == _YEAR:
        return "all year"
    return listed([_run_named(run) for run in _runs(months)])


def _runs(months: Sequence[int]) -> list[list[int]]:
    """Months that follow each other, December and January among them."""
    held = set(months)
    starts = [month for month in sorted(held) if (month - 2) % _YEAR + 1 not in held]
    runs = []
    for start in starts:
        run = [start]
        while (following := run[-1] % _YEAR + 1) in held:
            run.append(following)
        runs.append(run)
    return runs


def _run_named(run: Sequence[int]) -> str:
    first, last = calendar.month_name[run[0]], calendar.month_name[run[-1]]
    if len(run) == 1:
        return f"in {first}"
    return f"in {first} and {last}" if len(run) == 2 else f"from {first} to {last}"


def payer_named(payer: Payer) -> str:
    """``loses 7 of 365: 5 in January, 2 in December``."""
    where = ", ".join(
        f"{lost} in {calendar.month_name[month]}" for month, lost in payer.lost_by_month.items()
    )
    return f"{payer.lost} of {payer.asked}: {where}"


def newcomers_ready(month: MonthFit) -> str:
    """``8 of 9``, all new machines together."""
    ready, asked = (sum(getattr(one, what) for one in month.newcomers) for what in ("ready", "asked"))
    return f"{ready} of {asked}"


def kept(without: Readiness, with_them: Readiness) -> str:
    """``62 of 62`` where as many are met as before, ``23 to 18 of 62`` where not."""
    change = "" if without.ready == with_them.ready else f"{without.ready} to "
    return f"{change}{with_them.ready} of {with_them.asked}"
