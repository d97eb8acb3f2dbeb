"""The whole check-up of a yard, part by part, and the quick look that a plan takes at it."""

from __future__ import annotations

from collections.abc import Callable

from scheduler.checkup.acside import check_ac_side, check_one_by_one
from scheduler.checkup.arrayinput import check_array_input
from scheduler.checkup.bankcable import check_bank_cable
from scheduler.checkup.bankside import check_bank
from scheduler.checkup.batterycare import check_batteries
from scheduler.checkup.cables import check_cables
from scheduler.checkup.findings import Checkup, Finding, Grade, PartReport, put_together
from scheduler.checkup.roofwind import check_roof
from scheduler.checkup.siteyear import SiteYear
from scheduler.yard.models import Yard

#: In the order in which they are told.
PARTS: tuple[Callable[[Yard, SiteYear | None], PartReport], ...] = (
    check_array_input,
    check_cables,
    check_ac_side,
    check_bank,
    check_roof,
    check_batteries,
)


def check_yard(yard: Yard, year: SiteYear | None) -> Checkup:
    """Check every part of the yard.

    Parameters
    ----------
    yard : Yard
    year : SiteYear or None
        Without one, what hangs on the weather is left out and told as not checked.
    """
    reports = tuple(check(yard, year) for check in PARTS)
    return Checkup(yard.site.name, "" if year is None else year.source, put_together(reports))


def quick_stops(yard: Yard) -> tuple[Finding, ...]:
    """What should stop a plan, as far as the fleet file alone tells it: no weather, a few milliseconds.

    What the bank holds and the roof stop no plan, nor does the search for the worst set on the AC side, which takes its
    time.
    """
    reports = (
        check_array_input(yard, None),
        check_cables(yard, None),
        check_one_by_one(yard),
        check_bank_cable(yard),
        check_batteries(yard, None),
    )
    return tuple(finding for finding in put_together(reports).findings if finding.grade is Grade.STOP)
