"""What batteries lose by themselves while nobody needs them, and when to look at them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from scheduler.checkup.ageing import longest_rest_h
from scheduler.checkup.atonce import listed
from scheduler.checkup.batteryrates import Alike
from scheduler.checkup.findings import Figure, Finding, Grade, Part
from scheduler.units import pct_from_fraction
from scheduler.yard.figures import Chemistry

#: What a battery at rest loses in a month, at least and at most, taken as a fraction of its capacity.
LOST_PER_MONTH: dict[Chemistry, tuple[float, float]] = {"lithium": (0.02, 0.03), "lead_acid": (0.04, 0.06)}
RESTING_SOURCE = "self-discharge by the Encyclopedia of Alternative Energy"

#: How full a battery is left that nobody needs, and how full it should stay (common practice, no source): lithium low,
#: for it ages least so, and lead-acid near full, for it sulphates below.
PARKED: dict[Chemistry, tuple[float, float]] = {"lithium": (0.4, 0.2), "lead_acid": (1.0, 0.8)}

#: A winter's rest (common practice, no source) [months].
WINTER_MONTHS = 4


def held_after(months: float, chemistry: Chemistry) -> tuple[float, float]:
    """What a battery that was parked as it should be still holds, at least and at most, as fractions of its capacity.

    References
    ----------
    D. Darling, Encyclopedia of Alternative Energy: 2 to 3 % a month for lithium, 4 to 6 % for lead-acid.
    """
    parked, (slow, fast) = PARKED[chemistry][0], LOST_PER_MONTH[chemistry]
    return max(0.0, parked - fast * months), max(0.0, parked - slow * months)


def months_to_look(chemistry: Chemistry) -> int:
    """After how many whole months it holds, at the fastest, as little as it should."""
    parked, least = PARKED[chemistry]
    return math.floor((parked - least) / LOST_PER_MONTH[chemistry][1] + 1e-9)


def resting_told(chemistry: Chemistry) -> str:
    """What is left after a winter, and when to look: a sentence to follow the advice on how full to park."""
    low, high = (pct_from_fraction(held) for held in held_after(WINTER_MONTHS, chemistry))
    least_pct = pct_from_fraction(PARKED[chemistry][1])
    return (
        f"After {WINTER_MONTHS} months of winter {low:.0f} to {high:.0f} % are left: look at it after "
        f"{months_to_look(chemistry)} months, before it falls below {least_pct:.0f} %."
    )


def _parked_told(chemistry: Chemistry) -> str:
    parked = PARKED[chemistry][0]
    return "full" if parked == 1.0 else f"at {pct_from_fraction(parked):.0f} %"


def _unneeded(groups: Sequence[Alike], chemistry: Chemistry) -> str:
    """Those of a chemistry that no week needs, in a sentence; empty for none."""
    names = [
        name
        for group in groups
        if group.chemistry == chemistry and math.isinf(longest_rest_h(group.machine))
        for name in group.names
    ]
    return listed(names, most=3) if names else ""


def resting_figures(groups: Sequence[Alike]) -> Iterator[Figure]:
    """What machines that no week needs still hold after a winter."""
    for chemistry, (_, least) in PARKED.items():
        if who := _unneeded(groups, chemistry):
            name = f"left after {WINTER_MONTHS} months if parked {_parked_told(chemistry)}"
            held_pct = pct_from_fraction(held_after(WINTER_MONTHS, chemistry)[0])
            source = f"{RESTING_SOURCE}; its least: common practice, no source"
            yield Figure(
                Part.BATTERIES, who, name, held_pct, "%", pct_from_fraction(least), source, at_least=True
            )


def lead_acid_findings(groups: Sequence[Alike]) -> Iterator[Finding]:
    """How lead-acid rests that nobody needs: full, and looked at earlier than lithium."""
    if not (who := _unneeded(groups, "lead_acid")):
        return
    slow, fast = (pct_from_fraction(lost) for lost in LOST_PER_MONTH["lead_acid"])
    least_pct = pct_from_fraction(PARKED["lead_acid"][1])
    yield Finding(
        grade=Grade.NOTE,
        part=Part.BATTERIES,
        about=who,
        title=f"Lead-acid loses {slow:.0f} to {fast:.0f} % a month at rest, and no week needs {who}",
        found=pct_from_fraction(held_after(WINTER_MONTHS, "lead_acid")[0]),
        limit=least_pct,
        unit="%",
        source=f"{RESTING_SOURCE}; {least_pct:.0f} %: common practice, no source",
        meaning="Lead-acid that stands half empty for months loses capacity for good. It is taken for lead-acid "
        "because its charge_temp_c begins below 0 C.",
        mend=f"Park it full and charge it again on the way. {resting_told('lead_acid')}",
    )
