"""Words for the sky of half days, as public weather reports use them: what they mean, and how they are given."""

from __future__ import annotations

import datetime as dt
import difflib
import re
from dataclasses import dataclass

from scheduler.errors import UsageError
from scheduler.timegrid import moment_on_clock
from scheduler.yard.clock import WEEKDAYS
from scheduler.yard.models import Site

NOON_MINUTE, DAY_MINUTES = 12 * 60, 24 * 60


@dataclass(frozen=True)
class SkyTerm:
    """What stands for one degree of cloudiness.

    Attributes
    ----------
    oktas : tuple of int
        Least and most eighths of the sky that cloud covers.
    words : tuple of str
    clearness_fraction : float
        Mean share of the clear sky's irradiance in half days so clouded: ``python -m tests.benchmarks.calibration``
        prints it from three typical years.
    """

    oktas: tuple[int, int]
    words: tuple[str, ...]
    clearness_fraction: float


#: "fine", "partly cloudy", "cloudy" and "overcast" with their oktas as the World Meteorological Organization's World
#: Weather Information Service defines them (worldweather.wmo.int/oktas.htm), "fine" parted in clear and fair; "sunny",
#: "mostly sunny", "partly sunny", "mostly cloudy" by the US National Weather Service's oktas of opaque cloud (Hanford
#: office, newsletter of winter 2000); "few", "scattered", "broken" as aerodrome reports have them (from memory; they
#: part at 4 oktas).
SKY_TERMS = (
    SkyTerm((0, 0), ("clear", "sunny"), 1.03),
    SkyTerm((1, 2), ("fair", "fine", "few clouds", "few", "mostly sunny", "mostly clear"), 0.96),
    SkyTerm((3, 5), ("partly cloudy", "partly sunny", "scattered"), 0.83),
    SkyTerm((6, 7), ("cloudy", "mostly cloudy", "broken"), 0.60),
    SkyTerm((8, 8), ("overcast",), 0.38),
)

_TERM_OF = {word: term for term in SKY_TERMS for word in term.words}


@dataclass(frozen=True)
class SkySpell:
    """A sky between two moments in UTC."""

    start: dt.datetime
    end: dt.datetime
    term: SkyTerm


def parse_sky(text: str, today: dt.date, site: Site) -> tuple[SkySpell, ...]:
    """Parse ``"tomorrow am: fair, pm: overcast"``: a day, a half of it, and a word; parts by commas.

    A day is today (the day on which the plan begins), tomorrow, a weekday within the next seven days or a date; where
    it is left out it is that of the part before. Without am or pm the word holds for the whole day.

    Raises
    ------
    UsageError
        With what cannot be understood, and the nearest word.
    """
    spells: list[SkySpell] = []
    day = today
    for part in re.split(r"[,;]", text.lower()):
        when, colon, word = part.partition(":")
        names = when.split()
        half = names.pop() if names and names[-1] in {"am", "pm"} else None
        if not colon or len(names) > 1:
            example = '"tomorrow am: fair, pm: overcast"'
            msg = f'--sky "{part.strip()}": wanted a day, am or pm, and a word, such as {example}'
            raise UsageError(msg)
        if names:
            day = _parse_day(names[0], today)
        spells.append(_spell(day, half, " ".join(word.split()), site))
    clash = next((b for a in spells for b in spells if a is not b and a.start < b.end and b.start < a.end), None)
    if clash is not None:
        msg = f'--sky "{text}": {clash.start.astimezone(site.zone):%a %d %b} has two words for one time; keep one'
        raise UsageError(msg)
    return tuple(sorted(spells, key=lambda spell: spell.start))


def parse_seen(text: str, since: dt.datetime, until: dt.datetime, site: Site) -> tuple[SkySpell, ...]:
    """Parse what the sky was like: ``fair``, since the moment given; or ``am: fair, pm: overcast``, of that day.

    What is still to come when it is said counts for nothing.

    Parameters
    ----------
    text : str
    since, until : datetime
        For what time a word alone is, and when it is said.
    site : Site

    Raises
    ------
    UsageError
        With what cannot be understood, and the nearest word.
    """
    if ":" not in text:
        return (SkySpell(since, until, term_of(text)),)
    spells = parse_sky(text, until.astimezone(site.zone).date(), site)
    return tuple(
        SkySpell(spell.start, min(spell.end, until), spell.term) for spell in spells if spell.start < until
    )


def _parse_day(word: str, today: dt.date) -> dt.date:
    near = {"today": 0, "tomorrow": 1}
    if word in near:
        return today + dt.timedelta(days=near[word])
    if word[:3] in WEEKDAYS and word.isalpha():
        return today + dt.timedelta(days=(list(WEEKDAYS).index(word[:3]) - today.weekday()) % 7)
    try:
        return dt.date.fromisoformat(word)
    except ValueError:
        msg = f'--sky: "{word}" is no day; wanted today, tomorrow, a weekday such as wed, or a date such as 2027-06-09'
        raise UsageError(msg) from None


def _spell(day: dt.date, half: str | None, word: str, site: Site) -> SkySpell:
    first = NOON_MINUTE if half == "pm" else 0
    last = NOON_MINUTE if half == "am" else DAY_MINUTES
    return SkySpell(
        moment_on_clock(day, first, site.zone), moment_on_clock(day, last, site.zone), term_of(word)
    )


def term_of(text: str) -> SkyTerm:
    """Return what a word stands for.

    Raises
    ------
    UsageError
        With the nearest word.
    """
    word = " ".join(text.lower().split())
    if word not in _TERM_OF:
        near = difflib.get_close_matches(word, _TERM_OF, 1, 0.5)
        hint = f'did you mean "{near[0]}"?' if near else f"known are {', '.join(_TERM_OF)}"
        msg = f'--sky: "{word}" is no word for a sky here; {hint}'
        raise UsageError(msg)
    return _TERM_OF[word]
