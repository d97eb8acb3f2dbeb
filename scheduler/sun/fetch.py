"""Fetching a forecast over the network, by the terms of the service, and keeping it as an ordinary file.

The service is the location forecast of the Norwegian Meteorological Institute: open, documented, without a key,
for the whole world. Its terms (api.met.no/doc/TermsOfService) ask for an identifying User-Agent, at most four
decimals of a place, no call before the last answer expires, and If-Modified-Since.
"""

from __future__ import annotations

import datetime as dt
import email.utils
import re
from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal
from pathlib import Path
from urllib.parse import urlencode

from scheduler import __version__
from scheduler.errors import FetchError, OutputError, UsageError, WeatherFileError
from scheduler.sun.forecastfile import comments_of, read_forecast
from scheduler.sun.httpcall import Answer, Limits, ask
from scheduler.sun.locationforecast import IssuedForecast, parse_document
from scheduler.writing import write_whole
from scheduler.yard.models import Site

SERVICE = "https://api.met.no/weatherapi/locationforecast/2.0/complete"
SERVICE_NAME = "MET Norway, Locationforecast 2.0"
LICENCE = "CC BY 4.0 or NLOD 2.0, data from MET Norway"

#: A way to write to somebody: an address, or a site.
_CONTACT = re.compile(r"[!-~]*[A-Za-z0-9-](@|\.|://)[A-Za-z0-9][!-~]*")

_PLACES = Decimal("0.0001")

#: Hours that a saved forecast must still reach ahead to be offered in place of a new one.
STILL_USEFUL = dt.timedelta(hours=24)


@dataclass(frozen=True)
class Fetched:
    """A forecast file that is up to date, and in words where it comes from.

    Attributes
    ----------
    path : Path
    is_new : bool
        Whether it was written just now.
    told : str
    """

    path: Path
    is_new: bool
    told: str


@dataclass(frozen=True)
class _Saved:
    """A file fetched earlier for the same place, with what its comment lines say."""

    path: Path
    text: str
    ends: dt.datetime

    def says(self, key: str) -> str | None:
        return comments_of(self.text).get(key)

    def is_fresh(self, now: dt.datetime) -> bool:
        expires = _http_date(self.says("expires"))
        return expires is not None and now < expires


def fetch_forecast(
    site: Site,
    contact: str | None,
    folder: Path,
    *,
    now: dt.datetime,
    base_url: str = SERVICE,
    limits: Limits | None = None,
) -> Fetched:
    """Get the newest hourly forecast for the site as a file in `folder`.

    Parameters
    ----------
    site : Site
    contact : str or None
        Whom the service may write to: the user's own address or site, sent in the User-Agent.
    folder : Path
        Made if it is not there. A new forecast is a new file, so that a plan can be made again from its own.
    now : datetime
        The clock; a saved forecast that has not expired by then is returned without a call.
    base_url : str
        Of a service with the same documents; https, or this machine itself.
    limits : Limits, optional

    Raises
    ------
    UsageError
        Without a contact.
    FetchError
        If there is no usable answer; its `saved` is the newest forecast fetched earlier that still reaches a
        day ahead, or None.
    OutputError
        If the file cannot be written.
    """
    agent = f"sunroster/{__version__} {check_contact(contact)}"
    saved = _newest_saved(site, folder)
    if saved is not None and saved.is_fresh(now):
        return Fetched(saved.path, False, f"{saved.path} is still the newest forecast: {_issued(saved)}")
    try:
        headers = {"User-Agent": agent, "Accept": "application/json"}
        if saved is not None and (modified := saved.says("last-modified")):
            headers["If-Modified-Since"] = modified
        answer = ask(_url(base_url, site), headers, limits or Limits())
        if answer.is_unchanged:
            return _keep(saved, answer)
        return _save(site, folder, answer, now)
    except FetchError as fault:
        useful = saved is not None and saved.ends >= now + STILL_USEFUL
        fault.saved = saved.path if saved is not None and useful else None
        raise


def check_contact(contact: str | None) -> str:
    """Return the contact without blanks around it.

    Raises
    ------
    UsageError
        If there is none, or nobody could be reached by it.
    """
    text = (contact or "").strip()
    if len(text) > 200 or not _CONTACT.fullmatch(text):
        found = f"{text[:40]!r} is no address" if text else "nothing is given"
        msg = (
            "--fetch: the weather service asks whom it may write to if something is wrong with the calls, and "
            f"{found}: give --contact you@your.domain (or your web site), or set SUNROSTER_CONTACT to it"
        )
        raise UsageError(msg)
    return text


def _url(base_url: str, site: Site) -> str:
    query = {"lat": _cut(site.latitude), "lon": _cut(site.longitude)}
    # Without an altitude the service takes the ground's own; 0 would be a guess where the file gives none.
    if "elevation_m" in site.model_fields_set:
        query["altitude"] = f"{site.elevation_m:.0f}"
    return f"{base_url}?{urlencode(query)}"


def _cut(degrees: float) -> str:
    """Cut to four decimals, some 11 m: more of them are refused."""
    return str(Decimal(repr(degrees)).quantize(_PLACES, ROUND_DOWN) + 0)


def _stem(site: Site) -> str:
    altitude = f"_{site.elevation_m:.0f}m" if "elevation_m" in site.model_fields_set else ""
    return f"fetched_{_cut(site.latitude)}_{_cut(site.longitude)}{altitude}"


def _newest_saved(site: Site, folder: Path) -> _Saved | None:
    """Return the newest file fetched for the site that can still be read, or None."""
    stamped = f"{_stem(site)}_[0-9][0-9][0-9][0-9][0-9][0-9][0-9][0-9]T*Z.csv"
    for path in sorted(folder.glob(stamped), reverse=True):
        try:
            text = path.read_text(encoding="utf-8")
            return _Saved(path, text, read_forecast(path, text, site).ends)
        except (OSError, UnicodeDecodeError, WeatherFileError):
            continue
    return None


def _keep(saved: _Saved | None, answer: Answer) -> Fetched:
    """The saved forecast is still the newest: note only until when."""
    if saved is None:
        msg = "the weather service says that nothing is new, though nothing was fetched before"
        raise FetchError(msg)
    text = re.sub(r"(?m)^# expires:.*$", f"# expires: {_header_date(answer.expires)}", saved.text, count=1)
    write_whole({saved.path: text.encode()})
    return Fetched(saved.path, False, f"{saved.path} is still the newest forecast: {_issued(saved)}")


def _save(site: Site, folder: Path, answer: Answer, now: dt.datetime) -> Fetched:
    try:
        issued = parse_document(answer.content, site)
        path = folder / f"{_stem(site)}_{issued.issued:%Y%m%dT%H%M%SZ}.csv"
        text = _render(issued, site, answer, now)
        ends = read_forecast(path, text, site).ends
    except (ValueError, WeatherFileError) as fault:
        problem = fault.problems[0] if isinstance(fault, WeatherFileError) else str(fault)
        msg = f"the weather service's answer cannot be used: {problem}"
        raise FetchError(msg) from fault
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        msg = f"{folder}: cannot be made: {fault.strerror or fault}; choose another place"
        raise OutputError(msg) from fault
    write_whole({path: text.encode()})
    until = f"{ends.astimezone(site.zone):%a %d %b %H:%M}"
    deprecated = "; the service says that this version of it will end" if answer.is_deprecated else ""
    told = f"fetched from {SERVICE_NAME} (issued {issued.issued:%Y-%m-%dT%H:%M:%SZ}), until {until}: {path}{deprecated}"
    return Fetched(path, True, told)


def _render(issued: IssuedForecast, site: Site, answer: Answer, now: dt.datetime) -> str:
    about = {
        "source": SERVICE_NAME,
        "call": answer.url,
        "licence": LICENCE,
        "issued": f"{issued.issued:%Y-%m-%dT%H:%M:%SZ}",
        "fetched": f"{now.astimezone(dt.UTC):%Y-%m-%dT%H:%M:%SZ}",
        "expires": _header_date(answer.expires),
        "last-modified": _header_date(answer.last_modified),
        "note": "each row is the mean of the values at both ends of its hour; the six-hourly part is left out",
    }
    comments = "".join(f"# {key}: {value}\n" for key, value in about.items())
    return comments + issued.render_rows(site)


def _header_date(text: str | None) -> str:
    """Return a date of HTTP as it came, for it must be sent back so; nothing if it is none."""
    return text if text is not None and _http_date(text) is not None else ""


def _http_date(text: str | None) -> dt.datetime | None:
    if not text or len(text) > 40 or not text.isprintable():
        return None
    try:
        moment = email.utils.parsedate_to_datetime(text)
    except ValueError:
        return None
    return moment.replace(tzinfo=dt.UTC) if moment.tzinfo is None else moment


def _issued(saved: _Saved) -> str:
    return f"issued {saved.says('issued') or 'at a time that it does not say'}"
