"""The location forecast of the Norwegian Meteorological Institute as hours of a forecast file.

The service gives values at moments: hourly for some 60 hours, then every six hours. A forecast file gives means
over hours.
"""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, Any

from pydantic import AwareDatetime, BaseModel, Field, ValidationError

from scheduler.errors import told_plainly
from scheduler.yard.models import Site

HOUR = dt.timedelta(hours=1)

#: With fewer hours a plan of a day cannot be made.
LEAST_HOURS = 24

#: An answer for a place further off than this is somebody else's [deg].
NEAR_DEG = 0.1

#: The service's names with the unit that its documents must give them, and what they are in a forecast file.
FIELDS = {
    "cloud_area_fraction": ("%", "cloud_pct"),
    "air_temperature": ("celsius", "temp_c"),
    "relative_humidity": ("%", "rh_pct"),
    "wind_speed": ("m/s", "wind_m_s"),
}

_Value = Annotated[float, Field(allow_inf_nan=False)] | None


class _Details(BaseModel):
    cloud_area_fraction: _Value = None
    air_temperature: _Value = None
    relative_humidity: _Value = None
    wind_speed: _Value = None


class _Instant(BaseModel):
    details: _Details


class _Data(BaseModel):
    instant: _Instant


class _Moment(BaseModel):
    time: AwareDatetime
    data: _Data


class _Meta(BaseModel):
    updated_at: AwareDatetime
    units: dict[str, str]


class _Properties(BaseModel):
    meta: _Meta
    timeseries: list[_Moment]


class _Geometry(BaseModel):
    coordinates: Annotated[list[float], Field(min_length=2)]


class _Document(BaseModel):
    geometry: _Geometry
    properties: _Properties


@dataclass(frozen=True)
class IssuedForecast:
    """What the service issued for a place.

    Attributes
    ----------
    issued : datetime
        In UTC.
    hours : tuple
        The start of each hour, in UTC, with the mean of each of `FIELDS` over it.
    """

    issued: dt.datetime
    hours: tuple[tuple[dt.datetime, dict[str, float]], ...]

    def render_rows(self, site: Site) -> str:
        """Return the header and the rows of a forecast file, on the site's clock."""
        names = [name for _, name in FIELDS.values()]
        rows = [",".join(["time", *names])]
        for start, means in self.hours:
            clock = start.astimezone(site.zone).isoformat(timespec="minutes")
            rows.append(",".join([clock, *(f"{means[name]:.6g}" for name in names)]))
        return "\n".join(rows) + "\n"


def parse_document(content: bytes, site: Site) -> IssuedForecast:
    """Read a document of the service.

    The hourly part only: a mean over an hour is that of the values at its two ends, and between moments six
    hours apart the cloud is anybody's guess.

    Raises
    ------
    ValueError
        If it is no such document, is for another place or another unit, lacks one of `FIELDS` in its hourly
        part, or has fewer than 24 hours of it.

    References
    ----------
    MET Norway, Locationforecast data model and General Forecast Format, docs.api.met.no.
    """
    try:
        document = _Document.model_validate(json.loads(content))
    except ValidationError as fault:
        raise ValueError(_tell_shape(fault)) from fault
    except (ValueError, RecursionError) as fault:
        msg = "the answer is no JSON, or it is cut off"
        raise ValueError(msg) from fault
    _check_place(document.geometry.coordinates, site)
    meta = document.properties.meta
    for name, (unit, _) in FIELDS.items():
        if meta.units.get(name) != unit:
            found = told_plainly(str(meta.units.get(name, "no unit"))[:20])
            msg = f"{name} is in {found}, wanted {unit}"
            raise ValueError(msg)
    moments = _hourly_part(document.properties.timeseries)
    return IssuedForecast(meta.updated_at.astimezone(dt.UTC), tuple(_hours(moments)))


def _tell_shape(fault: ValidationError) -> str:
    first = fault.errors(include_url=False, include_input=False)[0]
    place = ".".join(str(step) for step in first["loc"])
    return f"the answer is no location forecast ({place or 'the whole'}: {first['msg'].lower()})"


def _check_place(coordinates: list[float], site: Site) -> None:
    longitude, latitude = coordinates[:2]
    around_deg = abs((longitude - site.longitude + 180.0) % 360.0 - 180.0)
    if not (abs(latitude - site.latitude) <= NEAR_DEG and around_deg <= NEAR_DEG):
        msg = f"the answer is for {latitude:.4f}, {longitude:.4f}, not for the yard"
        raise ValueError(msg)


def _hourly_part(moments: list[_Moment]) -> list[_Moment]:
    hourly = moments[:1]
    for before, after in pairwise(moments):
        if after.time - before.time != HOUR:
            break
        hourly.append(after)
    if len(hourly) <= LEAST_HOURS:
        msg = f"only {max(len(hourly) - 1, 0)} hours of the answer are hourly, wanted {LEAST_HOURS} at least"
        raise ValueError(msg)
    return hourly


def _hours(moments: list[_Moment]) -> list[tuple[dt.datetime, dict[str, float]]]:
    values = [_values(moment) for moment in moments]
    return [
        (moment.time.astimezone(dt.UTC), {name: (before[name] + after[name]) / 2.0 for name in before})
        for moment, (before, after) in zip(moments, pairwise(values), strict=False)
    ]


def _values(moment: _Moment) -> dict[str, float]:
    details: dict[str, Any] = moment.data.instant.details.model_dump()
    for name in FIELDS:
        if details[name] is None:
            msg = f"there is no {name} at {moment.time:%Y-%m-%d %H:%M} UTC"
            raise ValueError(msg)
    return {column: float(details[name]) for name, (_, column) in FIELDS.items()}
