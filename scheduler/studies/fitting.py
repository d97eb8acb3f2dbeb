"""Whether a new machine fits a yard: what that means, judged month by month from two lived years.

On the same weather and forecasts, without and with the new machine: it is ready for at least 95 % of its needs, and
the yard's own machines lose, net, at most 2 % of their must needs and 5 % of the others. In a single month one need of
the new machine is forgiven, and two of the yard's own of each kind: so much is moved by any change that sends the days
another way, a machine that draws next to nothing among them. Over all the months that are said to fit, none is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.studies.yearrecord import NeedLived, Readiness, YearLived

#: A new machine misses at most this share of its needs.
NEWCOMER_MISSED_FRACTION = 0.05

#: Of the yard's own must needs at most this share may be lost, net.
MUST_LOST_FRACTION = 0.02

#: Of its other needs.
OTHERS_LOST_FRACTION = 0.05

#: In a single month so many needs of a new machine are forgiven.
FORGIVEN_TO_NEWCOMERS = 1

#: And so many of the yard's own must needs, and of its others.
FORGIVEN_TO_THE_YARD = 2

DEFINITION = (
    "A machine fits if it is ready for at least 95 % of its needs and the yard's own machines lose, on the same "
    "weather, at most 2 % of their must needs and 5 % of the others; in a single month one of its needs is forgiven, "
    "and two of theirs of each kind."
)


@dataclass(frozen=True)
class MonthFit:
    """One month with the new machines against the same month without.

    Attributes
    ----------
    month : int
        1 to 12.
    newcomers : tuple of Readiness
        Of each new machine.
    must_without, must_with, others_without, others_with : Readiness
        Of the yard's own machines.
    """

    month: int
    newcomers: tuple[Readiness, ...]
    must_without: Readiness
    must_with: Readiness
    others_without: Readiness
    others_with: Readiness

    @property
    def must_lost(self) -> int:
        """Must needs of the yard's own that are no longer met, net; negative where more are."""
        return self.must_without.ready - self.must_with.ready

    @property
    def others_lost(self) -> int:
        """The same for its other needs."""
        return self.others_without.ready - self.others_with.ready

    @property
    def newcomers_unready(self) -> int:
        """Needs of the new machines that are not met."""
        return sum(one.asked - one.ready for one in self.newcomers)

    @property
    def fits(self) -> bool:
        """Whether the month by itself does, a need or two of each kind forgiven."""
        return _is_within([self], FORGIVEN_TO_NEWCOMERS, FORGIVEN_TO_THE_YARD)

    @property
    def fits_strictly(self) -> bool:
        """Whether it does with nothing forgiven."""
        return _is_within([self])

    @property
    def gone_wrong(self) -> int:
        """Needs that are not met by or because of the new machines."""
        return self.newcomers_unready + max(self.must_lost, 0) + max(self.others_lost, 0)


def _is_within(months: Sequence[MonthFit], to_newcomers: int = 0, to_yard: int = 0) -> bool:
    """Whether what goes wrong in some months together is within the shares, or no more than is forgiven."""

    def few(missed: int, fraction: float, asked: int, forgiven: int) -> bool:
        return missed <= max(forgiven, fraction * asked + 1e-9)

    newcomers = zip(*(month.newcomers for month in months), strict=True)
    sums = [(sum(one.asked for one in each), sum(one.ready for one in each)) for each in map(list, newcomers)]
    return (
        all(few(asked - ready, NEWCOMER_MISSED_FRACTION, asked, to_newcomers) for asked, ready in sums)
        and few(
            sum(month.must_lost for month in months),
            MUST_LOST_FRACTION,
            sum(month.must_without.asked for month in months),
            to_yard,
        )
        and few(
            sum(month.others_lost for month in months),
            OTHERS_LOST_FRACTION,
            sum(month.others_without.asked for month in months),
            to_yard,
        )
    )


@dataclass(frozen=True)
class Payer:
    """A machine of the yard that is ready less often; lost needs by month, net, those of no loss left out."""

    machine: str
    asked: int
    lost_by_month: dict[int, int]

    @property
    def lost(self) -> int:
        """Over the whole time, the months in which it gains left out."""
        return sum(self.lost_by_month.values())


@dataclass(frozen=True)
class Fit:
    """What two lives of a yard, without and with new machines, say.

    Attributes
    ----------
    newcomers : tuple of str
    months : tuple of MonthFit
        In the order in which they were lived.
    payers : tuple of Payer
        Who pays most first.
    """

    newcomers: tuple[str, ...]
    months: tuple[MonthFit, ...]
    payers: tuple[Payer, ...]

    @property
    def months_that_fit(self) -> tuple[int, ...]:
        """In the order in which they were lived: each by itself, and all of them together with nothing forgiven."""
        kept = [month for month in self.months if month.fits]
        while kept and not _is_within(kept):
            kept.remove(max(kept, key=lambda month: month.gone_wrong))
        return tuple(month.month for month in kept)

    @property
    def fits(self) -> bool:
        """Whether every month does."""
        return len(self.months_that_fit) == len(self.months)

    @property
    def worst(self) -> MonthFit:
        """The month in which most goes wrong."""
        return max(self.months, key=lambda month: (not month.fits, month.gone_wrong))


def judge_fit(without: YearLived, with_them: YearLived, newcomers: Sequence[str]) -> Fit:
    """Compare the same time without and with new machines."""
    months = tuple(_judge_month(without, with_them, newcomers, month) for month in without.months)
    payers = (_find_payer(without, with_them, machine) for machine in without.machines)
    paying = sorted((payer for payer in payers if payer.lost), key=lambda payer: -payer.lost)
    return Fit(tuple(newcomers), months, tuple(paying))


def _judge_month(without: YearLived, with_them: YearLived, newcomers: Sequence[str], month: int) -> MonthFit:
    before = without.needs(month=month)
    after = [need for need in with_them.needs(month=month) if need.machine not in newcomers]

    def class_of(needs: Sequence[NeedLived], *, must: bool) -> Readiness:
        return Readiness.of(need for need in needs if (need.priority == "must") is must)

    return MonthFit(
        month,
        tuple(with_them.readiness(machine=name, month=month) for name in newcomers),
        class_of(before, must=True),
        class_of(after, must=True),
        class_of(before, must=False),
        class_of(after, must=False),
    )


def _find_payer(without: YearLived, with_them: YearLived, machine: str) -> Payer:
    lost = {
        month: without.readiness(machine=machine, month=month).ready
        - with_them.readiness(machine=machine, month=month).ready
        for month in without.months
    }
    asked = without.readiness(machine=machine).asked
    return Payer(machine, asked, {month: number for month, number in lost.items() if number > 0})
