"""Cloud to sun on hours that carry both: bias and error, hour by hour and by the words for half a day.

Most of these years' irradiance was itself modelled from the cloud that the observer saw (TMY3 marks 7296 of
Greensboro's 8760 hours so): they show that the relation is the same climate's, and less what a pyranometer would say.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from scipy.special import ndtr

from scheduler.logbook.skyseen import PASSES_FRACTION, STRAYS_FRACTION
from scheduler.sun.arraypower import complete_radiation
from scheduler.sun.skies import clouded_ghi_w_m2, sun_path
from scheduler.sun.skyterms import SKY_TERMS
from scheduler.timegrid import FloatArray
from tests.benchmarks.climates import Climate, climates

#: Hours darker than this under a clear sky say nothing of cloud [W/m2].
_DARK_W_M2 = 50.0


@dataclass(frozen=True)
class CloudError:
    """How far a way from cloud to sun is off over the bright hours, in watts and in percent of their mean."""

    what: str
    bias_w_m2: float
    rms_w_m2: float
    mean_w_m2: float

    @property
    def bias_pct(self) -> float:
        """Bias in percent of the mean."""
        return 100.0 * self.bias_w_m2 / self.mean_w_m2

    @property
    def rms_pct(self) -> float:
        """Root-mean-square error in percent of the mean."""
        return 100.0 * self.rms_w_m2 / self.mean_w_m2


def cloud_errors(climate: Climate, covered: FloatArray) -> Iterator[CloudError]:
    """Errors of this program's way and of two others, from the parts of the sky covered, shape (365, 24)."""
    from pvlib import irradiance

    sun = sun_path(climate.site, climate.hours + pd.Timedelta(minutes=30))
    truth = climate.year.by_start_utc()
    clear, cover = climate.clear_w_m2.ravel(), covered.ravel()
    bright = clear > _DARK_W_M2
    sky = complete_radiation(sun, clouded_ghi_w_m2(clear, cover))
    norman = irradiance.campbell_norman(sun.zenith_seen_deg, 0.75 * (1.0 - cover), dni_extra=sun.extra_normal_w_m2)
    for what, found, column in (
        ("ghi", sky.ghi_w_m2, "ghi_w_m2"),
        ("dni", sky.dni_w_m2, "dni_w_m2"),
        ("dhi", sky.dhi_w_m2, "dhi_w_m2"),
        ("ghi, straight line", clear * (1.0 - 0.65 * cover), "ghi_w_m2"),
        ("ghi, campbell_norman", norman["ghi"], "ghi_w_m2"),
    ):
        came = truth[column].to_numpy()[bright]
        over = found[bright] - came
        yield CloudError(what, float(over.mean()), float(np.sqrt(np.mean(over**2))), float(came.mean()))


def half_days(climate: Climate, oktas: tuple[int, int]) -> FloatArray:
    """Clearness of the half days whose mean cover, weighted by the clear sky, rounds to some oktas."""
    found = []
    for half in (slice(0, 12), slice(12, 24)):
        clear = climate.clear_w_m2[:, half]
        cover = 8.0 * (climate.opaque_cloud_fraction[:, half] * clear).sum(axis=1) / clear.sum(axis=1)
        alike = (np.round(cover) >= oktas[0]) & (np.round(cover) <= oktas[1])
        found.append((climate.ghi_w_m2[:, half].sum(axis=1) / clear.sum(axis=1))[alike])
    return np.concatenate(found)


def fitted_words() -> FloatArray:
    """Clearness at which each word passes into the next, and one deviation about it, fitted to all three years."""
    clearness, number = (
        np.concatenate(parts)
        for parts in zip(
            *(
                (half, np.full(len(half), place))
                for climate in climates()
                for place, term in enumerate(SKY_TERMS)
                for half in (half_days(climate, term.oktas),)
            ),
            strict=True,
        )
    )

    def lost(figures: FloatArray) -> float:
        passes = np.concatenate([[np.inf], figures[:-1], [-np.inf]])
        upper, lower = ((edges[number] - clearness) / figures[-1] for edges in (passes[:-1], passes[1:]))
        return -float(np.log(np.maximum(ndtr(upper) - ndtr(lower), 1e-6)).mean())

    begin = np.array([1.0, 0.9, 0.72, 0.5, 0.08])
    found: FloatArray = minimize(lost, begin, method="Nelder-Mead", options={"maxiter": 4000, "xatol": 1e-4}).x
    return found


def run_cloud() -> None:
    """Print the errors, and what the sky terms bring."""
    for climate in climates():
        for name, covered in (("total", climate.total_cloud_fraction), ("opaque", climate.opaque_cloud_fraction)):
            for error in cloud_errors(climate, covered):
                print(
                    f"{f'{climate.name}, {name} cloud: {error.what}':<52} bias {error.bias_w_m2:6.1f} W/m2 "
                    f"({error.bias_pct:5.1f} %)  rms {error.rms_w_m2:5.1f} ({error.rms_pct:4.1f} %)"
                )
    *passes, strays = fitted_words()
    told = " ".join(f"{edge:.3f}" for edge in passes)
    print(f"words pass into each other at {told}, straying by {strays:.3f}; taken {PASSES_FRACTION}, {STRAYS_FRACTION}")
    print("clearness of half days by their mean opaque cloud in oktas: mean (10 %, 50 %, 90 % of half days)")
    for term in SKY_TERMS:
        parts = [half_days(climate, term.oktas) for climate in climates()]
        told = [f"{p.mean():.2f} ({'/'.join(f'{q:.2f}' for q in np.quantile(p, [0.1, 0.5, 0.9]))})" for p in parts]
        mean = np.mean([part.mean() for part in parts])
        print(f"  {term.words[0]:<14} {'  '.join(told)}  together {mean:.2f}, taken {term.clearness_fraction}")
