"""The sky of half days in the words of public weather reports, given by hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from scheduler.sun.skies import clear_ghi_w_m2
from scheduler.sun.skyterms import SkySpell
from scheduler.sun.spread import days_after, spread_hours
from scheduler.sun.weather import Weather
from scheduler.timegrid import FloatArray
from scheduler.yard.models import Site

HOUR = dt.timedelta(hours=1)

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
