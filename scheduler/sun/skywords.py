"""The sky of half days in the words of public weather reports, given by hand."""

from __future__ import annotations

import datetime as dt
import difflib
import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from scheduler.errors import UsageError
from scheduler.sun.skies import clear_ghi_w_m2
from scheduler.sun.spread import days_after, spread_hours
from scheduler.sun.weather import Weather
from scheduler.timegrid import FloatArray, moment_on_clock
from scheduler.yard.clock import WEEKDAYS
from scheduler.yard.models import Site

HOUR = dt.timedelta(hours=1)
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


@dataclass(frozen=True)
class SkyWords:
    """Weather whose sun is given in words for some half days; whatever they leave open is that of `base`.

    Attributes
    ----------
    site : Site
    said : str
        As it was given.
    today : date
        On which it was given, as far as the plan is concerned: the day on which it begins.
    spells : tuple of SkySpell
    base : Weather
    """

    site: Site
    said: str
    today: dt.date
    spells: tuple[SkySpell, ...]
    base: Weather

    @property
    def source(self) -> str:
        """In words, for the page."""
        return f"sky by hand ({self.said}), the rest {self.base.source}"

    @property
    def begins(self) -> dt.datetime | None:
        """Start of the first hour, in UTC; None where any date will do."""
        return self.base.begins

    @property
    def ends(self) -> dt.datetime | None:
        """End of the last hour, in UTC; None where any date will do."""
        return self.base.ends

    @property
    def notes(self) -> tuple[str, ...]:
        """What had to be assumed, for the reader."""
        return ("the sky is given in words: likely is what skies so called bring, which is coarse", *self.base.notes)

    def hours(self, start: dt.datetime, end: dt.datetime) -> pd.DataFrame:
        """Weather of the hours that touch the time from `start` to `end`; see `Weather`.

        Notes
        -----
        In a half day with a word the likely sun is the clear sky's times the word's clearness. Dull and bright lie
        around it as days do around a forecast of cloud; a day is judged by those of its hours that have a word.
        """
        filled = self.base.hours(start, end)
        index = pd.DatetimeIndex(filled.index)
        # All that has a word, so that what a word means does not depend on when the plan begins.
        first = index[0] - max((index[0] - self.spells[0].start).ceil("h"), 0 * HOUR)
        last = max(index[-1] + HOUR, *(spell.end for spell in self.spells))
        whole = pd.date_range(first, last, freq="h", inclusive="left")
        likely, dull, bright = self._suns(whole)
        told = pd.DataFrame({"ghi_w_m2": likely, "ghi_dull_w_m2": dull, "ghi_bright_w_m2": bright}, index=whole)
        told = told.dropna().reindex(index)
        # The base's direct and diffuse sun belong to another sky.
        filled = filled.drop(columns=["dni_w_m2", "dhi_w_m2"], errors="ignore")
        return filled.assign(**{name: told[name].fillna(filled[name]) for name in told.columns})

    def _suns(self, hours: pd.DatetimeIndex) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Likely, dull and bright irradiance of hours [W/m2]; not a number where there is no word."""
        clearness = np.full(len(hours), np.nan)
        for spell in self.spells:
            first, last = (hours + HOUR / 2).searchsorted([pd.Timestamp(spell.start), pd.Timestamp(spell.end)])
            clearness[first:last] = spell.term.clearness_fraction
        told = np.isfinite(clearness)
        clear = clear_ghi_w_m2(self.site, hours[told])
        ahead = days_after(self.today, hours[told], self.site.zone)
        likely = clearness[told] * clear
        suns = (likely, *spread_hours(likely, clear, ahead, "cloud"))
        whole = np.full((3, len(hours)), np.nan)
        whole[:, told] = suns
        return whole[0], whole[1], whole[2]


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
    if word not in _TERM_OF:
        near = difflib.get_close_matches(word, _TERM_OF, 1, 0.5)
        hint = f'did you mean "{near[0]}"?' if near else f"known are {', '.join(_TERM_OF)}"
        msg = f'--sky: "{word}" is no word for a sky here; {hint}'
        raise UsageError(msg)
    first = NOON_MINUTE if half == "pm" else 0
    last = NOON_MINUTE if half == "am" else DAY_MINUTES
    return SkySpell(
        moment_on_clock(day, first, site.zone), moment_on_clock(day, last, site.zone), _TERM_OF[word]
    )
