"""How well the dull and the bright sun mean what they say: ``python -m tests.benchmarks.calibration [piece]``.

Pieces: typical, forecast, cloud, place, all. Everything is judged out of sample: by days that had no say (the typical
year: the day itself and two on either side), or in a climate that had none.

No archive of real forecasts is at hand. Those judged here are made up: the day that came, seen through so much noise
that the error of its clearness is half that of "tomorrow like today", as the best forecasts of R. Perez and others,
Solar Energy 94 (2013) 305 have it, and turned into the mean of what may come, as a forecast without bias is.
"""

from __future__ import annotations

import argparse
import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import product
from statistics import NormalDist

import numpy as np
import pandas as pd
from scipy.stats import beta

from scheduler.sun.placesky import usual_clearness
from scheduler.sun.skyterms import SKY_TERMS
from scheduler.sun.spread import (
    BRIGHT_QUANTILE,
    DAY_CEILING_FRACTION,
    DAY_FLOOR_FRACTION,
    DULL_QUANTILE,
    LEAST_PARAMETER,
    LIKELY_QUANTILE,
    Source,
    season_weights,
    spread_factors,
    weighted_quantiles,
)
from scheduler.sun.suns import build_suns
from scheduler.sun.typicalyear import YEAR_DAYS
from scheduler.timegrid import FloatArray, Grid
from scheduler.yard.models import Array, Bank, Inverter, Outlet, Visits, Yard
from tests.benchmarks.climates import QUARTER_OF_DAY, Climate, climates
from tests.benchmarks.cloud import run_cloud

QUANTILES = np.array([DULL_QUANTILE, LIKELY_QUANTILE, BRIGHT_QUANTILE])

#: Days on either side of the day judged that have no say in what it is judged by: cloud lasts for days.
LEFT_OUT_DAYS = 2

#: How much smaller the error of a forecast is than that of "tomorrow like today".
FORECAST_SKILL = 0.5

#: Floor, ceiling and concentration.
Figures = tuple[float, float, float]

#: Floors and ceilings that are tried.
ENDS = tuple(product((0.05, 0.10, 0.15), (1.06, 1.07, 1.08)))
TAKEN_ENDS = ((DAY_FLOOR_FRACTION, DAY_CEILING_FRACTION),)

DRAWS = 20
SEED = 1


@dataclass(frozen=True)
class Judged:
    """How often dull and bright were beaten, and the loss; arrays of shape (4,) by quarter of the year."""

    dull_pct: float
    dull_quarter_pct: FloatArray
    bright_pct: float
    bright_quarter_pct: FloatArray
    loss_pct: float

    @property
    def within(self) -> bool:
        """As often as dull and bright promise, over the year and in each quarter."""
        return (
            87.0 <= self.dull_pct <= 93.0
            and 7.0 <= self.bright_pct <= 13.0
            and bool(((self.dull_quarter_pct >= 82.0) & (self.dull_quarter_pct <= 97.0)).all())
            and bool(((self.bright_quarter_pct >= 3.0) & (self.bright_quarter_pct <= 18.0)).all())
        )


def pinball(truth: FloatArray, said: FloatArray, quantile: float) -> float:
    """Mean pinball loss: ``max(q (y - s), (q - 1) (y - s))``; least, in the mean, for the true quantile."""
    over = truth - said
    return float(np.mean(np.maximum(quantile * over, (quantile - 1.0) * over)))


def judge(truth: FloatArray, suns: Iterable[FloatArray]) -> Judged:
    """Judge dull, likely and bright against what came, arrays of shape (..., 365); the loss in % of the mean."""
    dull, likely, bright = suns
    losses = [pinball(truth, said, q) for said, q in zip((dull, likely, bright), QUANTILES, strict=True)]

    def beaten(said: FloatArray) -> tuple[float, FloatArray]:
        above = 100.0 * np.broadcast_to(truth > said, np.broadcast_shapes(truth.shape, said.shape))
        return above.mean(), np.array([above[..., quarter == QUARTER_OF_DAY].mean() for quarter in range(4)])

    return Judged(*beaten(dull), *beaten(bright), 100.0 * sum(losses) / float(truth.mean()))


def show(what: str, judged: Judged, mark: bool = True) -> None:
    """Print one row."""
    quarters = ["/".join(f"{pct:.0f}" for pct in q) for q in (judged.dull_quarter_pct, judged.bright_quarter_pct)]
    verdict = ("" if judged.within else "  outside") if mark else ""
    print(
        f"{what:<36} dull {judged.dull_pct:4.1f} ({quarters[0]:<11})  bright {judged.bright_pct:4.1f} "
        f"({quarters[1]:<11})  loss {judged.loss_pct:5.2f}{verdict}",
        flush=True,
    )


# ---- the typical year ----------------------------------------------------------------------------


def typical_suns(climate: Climate, window_days: int | None = None) -> FloatArray:
    """Dull, likely and bright irradiation of each day, shape (3, 365), without those days and their neighbours."""
    year = climate.year
    if window_days is None:
        return np.array([year.quantiles_of_day(day, LEFT_OUT_DAYS) for day in range(YEAR_DAYS)]).T
    said = []
    for day in range(YEAR_DAYS):
        distance = year.distance_days(day)
        weights = np.where(distance > LEFT_OUT_DAYS, season_weights(distance, window_days), 0.0)
        used = weights > 0.0
        index = weighted_quantiles(year.clearness_index[used], weights[used], QUANTILES)
        said.append(index * year.above_wh_m2[day])
    return np.array(said).T


def plain_suns(climate: Climate, days_alike: Callable[[int], FloatArray]) -> FloatArray:
    """Plain quantiles of the days alike, without the day judged and its neighbours."""
    daily = climate.ghi_w_m2.sum(axis=1)
    return np.array(
        [
            np.quantile(daily[days_alike(day) & (climate.year.distance_days(day) > LEFT_OUT_DAYS)], QUANTILES)
            for day in range(YEAR_DAYS)
        ]
    ).T


def same_month(day: int) -> FloatArray:
    """Days of the same month."""
    months = pd.date_range("2001-01-01", periods=YEAR_DAYS).month.to_numpy()
    return months == months[day]


@dataclass(frozen=True)
class Table:
    """Hours as a weather for any date."""

    table: pd.DataFrame
    source: str = "table"
    begins: None = None
    ends: None = None
    notes: tuple[str, ...] = ()

    def hours(self, start: dt.datetime, end: dt.datetime) -> pd.DataFrame:
        """Return the hours as they are."""
        return self.table[(self.table.index >= start) & (self.table.index < end)]


def array_energy(climate: Climate, table: pd.DataFrame) -> FloatArray:
    """Energy of each day under the three suns from an array that faces the equator at 30 degrees, (3, 365) [Wh]."""
    array = Array(name="array", panels=10, panel_w=400.0, tilt_deg=30.0, azimuth_deg=180.0)
    yard = Yard(
        site=climate.site,
        arrays=(array,),
        bank=Bank(modules_wh=(5000.0,), reserve_pct=20.0, level_pct=60.0),
        inverter=Inverter(continuous_w=2000.0),
        outlets=(Outlet(name="wall", kind="ac"),),
        visits=Visits(times=()),
    )
    grid = Grid(climate.hours[0].to_pydatetime(), 60, len(climate.hours), climate.site.zone)
    suns = build_suns(yard, grid, Table(table.set_axis(climate.hours.tz_convert("UTC"), axis=0)))
    return np.array([power_w.reshape(YEAR_DAYS, -1).sum(axis=1) for power_w in suns.by_name.values()])


def run_typical() -> None:
    """The typical year's days around a date, against the month's and the 31 days' plain quantiles."""
    print("typical year: which window has the least loss, by the two other climates")
    windows = (15, 30, 45, 60, 75, 90)
    losses = {
        climate.name: [
            judge(climate.ghi_w_m2.sum(axis=1), typical_suns(climate, window)).loss_pct for window in windows
        ]
        for climate in climates()
    }
    for name, own in losses.items():
        others = np.mean([loss for other, loss in losses.items() if other != name], axis=0)
        told = " ".join(f"{window}:{loss:.2f}" for window, loss in zip(windows, own, strict=True))
        print(f"  {name:<12} others choose {windows[int(np.argmin(others))]} days; own loss {told}")
    for climate in climates():
        daily = climate.ghi_w_m2.sum(axis=1)
        show(f"{climate.name}: on the level", judge(daily, typical_suns(climate)))
        truth = climate.year.by_start_utc()
        truth = truth.assign(ghi_dull_w_m2=truth["ghi_w_m2"], ghi_bright_w_m2=truth["ghi_w_m2"])
        said = pd.concat([climate.year.suns_of_day(day, LEFT_OUT_DAYS) for day in range(YEAR_DAYS)])
        show(f"{climate.name}: array", judge(array_energy(climate, truth)[1], array_energy(climate, said)))
        show("  plain quantiles of the month", judge(daily, plain_suns(climate, same_month)), mark=False)
        around = plain_suns(climate, lambda day, year=climate.year: year.distance_days(day) <= 15)  # type: ignore[misc]
        show("  plain quantiles of 31 days", judge(daily, around), mark=False)


# ---- forecasts -----------------------------------------------------------------------------------


def made_up_forecasts(clearness: FloatArray, error: float) -> FloatArray:
    """Forecasts of a year's days without bias and with a root-mean-square error, shape (DRAWS, 365)."""
    noise = np.random.default_rng(SEED).standard_normal((DRAWS, len(clearness)))
    ranked = np.sort(clearness)
    normal = np.array([NormalDist().inv_cdf((rank + 0.5) / len(clearness)) for rank in range(len(clearness))])
    own = np.empty(len(clearness))
    own[np.argsort(clearness, kind="stable")] = normal
    points, weights = np.polynomial.hermite_e.hermegauss(21)

    def forecasts(keeps: float) -> FloatArray:
        blur = np.sqrt(1.0 - keeps**2)
        seen = keeps * own + blur * noise
        parts = zip(points, weights / weights.sum(), strict=True)
        mean: FloatArray = sum(
            weight * np.interp(keeps * seen + blur * point, normal, ranked) for point, weight in parts
        )  # type: ignore[assignment]
        return mean

    low, high = 0.0, 1.0
    for _ in range(25):
        keeps = 0.5 * (low + high)
        too_good = np.sqrt(np.mean((forecasts(keeps) - clearness) ** 2)) < error
        low, high = (low, keeps) if too_good else (keeps, high)
    return forecasts(0.5 * (low + high))


def day_ahead_error(climate: Climate) -> float:
    """Root-mean-square error of a day-ahead forecast's clearness, from that of "tomorrow like today"."""
    return float((1.0 - FORECAST_SKILL) * np.sqrt(np.mean(np.diff(climate.clearness) ** 2)))


#: Clearness at which the distribution is worked out; in between, straight lines.
_LADDER = np.linspace(0.0, 1.3, 261)


def beta_suns(said: FloatArray, floor: float, ceiling: float, together: float) -> list[FloatArray]:
    """Dull, likely and bright clearness around what is said, with other figures than the program's."""
    end = LEAST_PARAMETER / together
    mean = np.clip((_LADDER - floor) / (ceiling - floor), end, 1.0 - end)
    dull, bright = (
        floor + (ceiling - floor) * beta.ppf(quantile, mean * together, (1.0 - mean) * together)
        for quantile in (DULL_QUANTILE, BRIGHT_QUANTILE)
    )
    return [
        np.interp(said, _LADDER, np.minimum(dull, _LADDER)),
        said,
        np.interp(said, _LADDER, np.maximum(bright, _LADDER)),
    ]


def source_suns(said: FloatArray, source: Source, lead_days: float = 1.0) -> list[FloatArray]:
    """Dull, likely and bright clearness around what is said, as the program has them."""
    return [said * factor for factor in spread_factors(said, np.array(lead_days), source)]


def miss(judged: Judged) -> float:
    """How far dull and bright are beaten too often or too seldom, the worse of both [%]."""
    return max(abs(judged.dull_pct - 90.0), abs(judged.bright_pct - 10.0))


def fit(said: dict[str, FloatArray], ends: Iterable[tuple[float, float]] = ENDS) -> dict[str, Figures]:
    """Floor, ceiling and concentration with the least miss, the worst climate counting.

    Returns
    -------
    dict
        By the name of the climate that had no say; by "" for all three together.
    """
    tried = [(*end, float(together)) for end, together in product(ends, np.arange(2.0, 16.0, 0.5))]
    misses = {
        name: np.array([miss(judge(_clearness(name), beta_suns(own, *figures))) for figures in tried])
        for name, own in said.items()
    }
    return {
        left_out: tried[int(np.argmin(np.max([off for name, off in misses.items() if name != left_out], axis=0)))]
        for left_out in (*said, "")
    }


def word_of(clearness: FloatArray) -> FloatArray:
    """Clearness of the sky term that is nearest."""
    known = np.array([term.clearness_fraction for term in SKY_TERMS])
    return known[np.argmin(np.abs(clearness[..., np.newaxis] - known), axis=-1)]


def run_forecast() -> None:
    """Forecasts of irradiance, the same in words, and further ahead."""
    forecasts = {climate.name: made_up_forecasts(climate.clearness, day_ahead_error(climate)) for climate in climates()}
    words = {name: word_of(said) for name, said in forecasts.items()}
    for told, said in (("irradiance", forecasts), ("cloud", words)):
        print(f"{told}: floor, ceiling and concentration fitted to two climates, judged in the third")
        figures = fit(said)
        for name, own in said.items():
            show(f"  {name}: {figures[name]}", judge(_clearness(name), beta_suns(own, *figures[name])))
        print(f"  fitted to all: {figures['']}; between the ends taken: {fit(said, TAKEN_ENDS)['']}")
    for climate in climates():
        error = day_ahead_error(climate)
        print(f"{climate.name}: day-ahead error {error:.3f} of the clear sky's irradiation")
        show("  forecast of irradiance", judge(climate.clearness, source_suns(forecasts[climate.name], "irradiance")))
        show("  in words", judge(climate.clearness, source_suns(words[climate.name], "cloud")))
        flat = np.quantile(climate.clearness, QUANTILES)[:, np.newaxis] * np.ones(YEAR_DAYS)
        show("  plain quantiles of the year", judge(climate.clearness, flat), mark=False)


def _clearness(name: str) -> FloatArray:
    return next(climate.clearness for climate in climates() if climate.name == name)


# ---- the place alone -----------------------------------------------------------------------------


def run_place() -> None:
    """Nothing known but the place and the season."""
    said = {climate.name: usual_clearness(climate.site.latitude, np.arange(1, YEAR_DAYS + 1)) for climate in climates()}
    for climate in climates():
        print(
            f"{climate.name}: usual clearness {said[climate.name].mean():.2f}, of the typical year "
            f"{climate.ghi_w_m2.sum() / climate.clear_w_m2.sum():.2f}"
        )
        show("  place alone", judge(climate.clearness, source_suns(said[climate.name], "place")))
    print(f"  concentration fitted between the ends taken: {fit(said, TAKEN_ENDS)[''][2]:.1f}")


PIECES: dict[str, Callable[[], None]] = {
    "typical": run_typical,
    "forecast": run_forecast,
    "cloud": run_cloud,
    "place": run_place,
}


def main() -> None:
    """Run the pieces that were asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("piece", nargs="?", default="all", choices=[*PIECES, "all"])
    asked = parser.parse_args()
    for piece, run in PIECES.items():
        if asked.piece in (piece, "all"):
            run()
            print()


if __name__ == "__main__":
    main()
