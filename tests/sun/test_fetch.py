"""Fetching a forecast from a real server on loopback, faults included."""

from __future__ import annotations

import datetime as dt
import gzip
import json
import socket
import time
from pathlib import Path
from typing import Any

import pytest

from scheduler import __version__
from scheduler.errors import FetchError, OutputError, UsageError
from scheduler.sun.fetch import Fetched, check_contact, fetch_forecast
from scheduler.sun.httpcall import Limits
from scheduler.sun.weather import read_weather
from scheduler.yard.models import Site
from tests.sun.weather_service import EXPIRES, FIRST, LAST_MODIFIED, Reply, Service, document, serving

SITE = Site(latitude=36.1, longitude=-79.95, elevation_m=270.4, timezone="America/New_York")
NOW = dt.datetime(2027, 6, 8, 10, 2, tzinfo=dt.UTC)
LATER = dt.datetime(2027, 6, 8, 11, 30, tzinfo=dt.UTC)
QUICK = Limits(connect_s=2.0, silence_s=0.4, answer_s=0.5, pause_s=0.01, most_bytes=400_000, tries=3)


@pytest.fixture(autouse=True)
def _no_proxy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_PROXY", "*")


def fetch(service: Service, folder: Path, now: dt.datetime = NOW, site: Site = SITE) -> Fetched:
    contact = "keeper@store.example"
    return fetch_forecast(site, contact, folder, now=now, base_url=service.url, limits=QUICK)


def changed(**at: Any) -> bytes:
    """The document with one of its hours changed."""
    whole = document()
    whole["properties"]["timeseries"][5]["data"]["instant"]["details"].update(at)
    return json.dumps(whole).encode()


def without(name: str) -> bytes:
    whole = document()
    for moment in whole["properties"]["timeseries"]:
        del moment["data"]["instant"]["details"][name]
    return json.dumps(whole).encode()


# ---- an answer -----------------------------------------------------------------------------------


def test_the_answer_becomes_an_ordinary_forecast_file_of_hourly_means(tmp_path: Path) -> None:
    with serving() as service:
        fetched = fetch(service, tmp_path / "forecasts")
    assert fetched.is_new
    assert fetched.path.name == "fetched_36.1000_-79.9500_270m_20270608T094107Z.csv"
    weather = read_weather(fetched.path, SITE)
    assert weather.source == f"forecast file {fetched.path.name} (MET Norway, Locationforecast 2.0)"
    assert weather.begins == FIRST
    # 60 hourly moments are 59 hours; the six-hourly part behind them is left out.
    assert weather.ends == FIRST + dt.timedelta(hours=59)
    row = next(line for line in fetched.path.read_text().splitlines() if line.startswith("2027-06-08T09:00-04:00"))
    # By hand: hours 3 and 4 have 12 and 16 % cloud, 16.5 and 17 C, 87 and 86 %, 2.3 and 2.4 m/s.
    assert row == "2027-06-08T09:00-04:00,14,16.75,86.5,2.35"


def test_the_file_says_where_it_comes_from_and_under_which_licence(tmp_path: Path) -> None:
    with serving() as service:
        text = fetch(service, tmp_path).path.read_text()
        place = f"{service.url}?lat=36.1000&lon=-79.9500&altitude=270"
    assert "# source: MET Norway, Locationforecast 2.0\n" in text
    assert f"# call: {place}\n" in text
    assert "# licence: CC BY 4.0 or NLOD 2.0, data from MET Norway\n" in text
    assert "# issued: 2027-06-08T09:41:07Z\n" in text
    assert "# fetched: 2027-06-08T10:02:00Z\n" in text


def test_the_call_names_the_user_and_cuts_the_place_to_four_decimals(tmp_path: Path) -> None:
    exact = SITE.model_copy(update={"latitude": 36.123456, "longitude": -79.987654})
    with serving() as service:
        fetch(service, tmp_path, site=exact)
        ((path, headers),) = service.asked
    assert path == "/weatherapi/complete?lat=36.1234&lon=-79.9876&altitude=270"
    assert headers["User-Agent"] == f"sunroster/{__version__} keeper@store.example"
    assert "gzip" in headers["Accept-Encoding"]
    assert "If-Modified-Since" not in headers


def test_an_altitude_that_the_file_does_not_give_is_left_to_the_service(tmp_path: Path) -> None:
    low = Site(latitude=36.1, longitude=-79.95, timezone="America/New_York")
    with serving() as service:
        fetch(service, tmp_path, site=low)
        ((path, _),) = service.asked
    assert path == "/weatherapi/complete?lat=36.1000&lon=-79.9500"


@pytest.mark.parametrize("status", [200, 203])
def test_a_packed_answer_is_unpacked_and_a_version_that_ends_is_told(status: int, tmp_path: Path) -> None:
    packed = Reply(status, gzip.compress(json.dumps(document()).encode()), {"Content-Encoding": "gzip"})
    with serving(packed) as service:
        fetched = fetch(service, tmp_path)
    assert read_weather(fetched.path, SITE).begins == FIRST
    assert ("this version of it will end" in fetched.told) == (status == 203)


# ---- Expires and If-Modified-Since ---------------------------------------------------------------


def test_nothing_is_asked_before_the_last_answer_expires(tmp_path: Path) -> None:
    with serving() as service:
        first = fetch(service, tmp_path)
        again = fetch(service, tmp_path, NOW + dt.timedelta(minutes=10))
        assert len(service.asked) == 1
        fetch(service, tmp_path, NOW + dt.timedelta(minutes=11))
        assert len(service.asked) == 2
    assert (again.path, again.is_new) == (first.path, False)
    assert "still the newest" in again.told


def test_an_expired_file_is_asked_for_with_its_own_date_and_kept_if_nothing_is_new(tmp_path: Path) -> None:
    later = "Tue, 08 Jun 2027 12:00:00 GMT"
    with serving(Reply(), Reply(304, headers={"Expires": later})) as service:
        first = fetch(service, tmp_path)
        rows = [line for line in first.path.read_text().splitlines() if not line.startswith("#")]
        again = fetch(service, tmp_path, LATER)
        assert service.asked[1][1]["If-Modified-Since"] == LAST_MODIFIED
        fetch(service, tmp_path, LATER + dt.timedelta(minutes=29))
        assert len(service.asked) == 2
    assert (again.path, again.is_new) == (first.path, False)
    text = again.path.read_text()
    assert f"# expires: {later}\n" in text
    assert EXPIRES not in text
    assert [line for line in text.splitlines() if not line.startswith("#")] == rows


def test_a_newer_forecast_is_a_file_of_its_own(tmp_path: Path) -> None:
    newer = document()
    newer["properties"]["meta"]["updated_at"] = "2027-06-08T11:20:00Z"
    with serving(Reply(), Reply(body=json.dumps(newer).encode())) as service:
        first, second = fetch(service, tmp_path), fetch(service, tmp_path, LATER)
    assert first.path != second.path
    assert first.path.exists()
    assert second.is_new


def test_another_yards_file_and_a_spoilt_one_are_not_taken_for_the_saved_forecast(tmp_path: Path) -> None:
    with serving() as service:
        spoilt = fetch(service, tmp_path).path
        spoilt.write_text(spoilt.read_text().replace("14,16.75", "140,16.75"))
        fetch(service, tmp_path)
        fetch(service, tmp_path, site=SITE.model_copy(update={"latitude": 36.15}))
        assert [headers.get("If-Modified-Since") for _, headers in service.asked] == [None] * 3
    assert "140,16.75" not in spoilt.read_text()


@pytest.mark.parametrize("header", ["", "soon", "Tue, 38 Jun 2027 10:12:33 GMT", "0"])
def test_a_date_that_is_none_is_as_good_as_no_date(header: str, tmp_path: Path) -> None:
    with serving(Reply(headers={"Expires": header, "Last-Modified": header})) as service:
        fetch(service, tmp_path)
        fetch(service, tmp_path)
        assert [headers.get("If-Modified-Since") for _, headers in service.asked] == [None] * 2


# ---- whom the service may write to ---------------------------------------------------------------


@pytest.mark.parametrize(
    "contact", [None, "", "  ", "me", "a b@c.example", "x@y.example\r\nX-Evil: 1", "@", "é@ü.example"]
)
def test_no_call_is_made_without_a_contact_and_the_message_says_how_to_give_one(
    contact: str | None, tmp_path: Path
) -> None:
    with serving() as service:
        with pytest.raises(UsageError, match=r"--contact .* SUNROSTER_CONTACT"):
            fetch_forecast(SITE, contact, tmp_path, now=NOW, base_url=service.url)
        assert not service.asked


@pytest.mark.parametrize("contact", ["keeper@store.example", " https://store.example/yard ", "store.example"])
def test_an_address_or_a_site_is_a_contact(contact: str) -> None:
    assert check_contact(contact) == contact.strip()


# ---- faults --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reply", "told"),
    [
        (Reply(403, b"{}"), "--contact a real address.*HTTP 403"),
        (Reply(404, b"{}"), "latitude and longitude right.*HTTP 404"),
        (Reply(422, b"{}"), "no forecast for this place.*HTTP 422"),
        (Reply(418, b"{}"), "refuses .HTTP 418"),
        (Reply(304), "nothing was fetched before"),
        (Reply(301, b"", {"Location": "https://elsewhere.example/"}), "'elsewhere.example', which is not followed"),
        (Reply(302, b"", {"Location": "/there"}), "'another page', which is not followed"),
        (Reply(body=b"<html>", headers={"Content-Type": "text/html; charset=utf-8"}), "answer is text/html"),
        (Reply(body=b"<html>sign in</html>"), "no JSON"),
        (Reply(body=json.dumps(document()).encode()[:5000]), "no JSON"),
        (Reply(body=b"[" * 100_000), "no JSON"),
        (Reply(body=b"\xff\xfe\x00"), "no JSON"),
        (Reply(body=b"not packed", headers={"Content-Encoding": "gzip"}), "cannot be unpacked"),
        (Reply(body=b" " * 500_000), "over 0.4 MB"),
        (Reply(body=gzip.compress(b" " * 50_000_000), headers={"Content-Encoding": "gzip"}), "over 0.4 MB"),
        (Reply(body=b"{}"), "no location forecast .geometry: field required"),
        (Reply(body=b"[]"), "no location forecast .the whole"),
        (Reply(body=without("cloud_area_fraction")), "no cloud_area_fraction at 2027-06-08 10:00 UTC"),
        (Reply(body=changed(wind_speed=None)), "no wind_speed at 2027-06-08 15:00 UTC"),
        (Reply(body=changed(air_temperature="warm")), "air_temperature: input should be a valid number"),
        (Reply(body=changed(air_temperature=float("nan"))), "air_temperature: input should be a finite"),
        (Reply(body=changed(air_temperature=290.0)), "temp_c: 153.5 cannot be"),
        (Reply(body=json.dumps(document(hourly=20)).encode()), "only 19 hours of the answer are hourly"),
        (Reply(body=json.dumps(document(hourly=0, six_hourly=0)).encode()), "only 0 hours"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
def test_an_answer_that_cannot_be_used_is_told_and_nothing_is_written(
    reply: Reply, told: str, tmp_path: Path
) -> None:
    with serving(reply) as service, pytest.raises(FetchError, match=told) as caught:
        fetch(service, tmp_path)
    assert caught.value.saved is None
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("at", "value", "told"),
    [("units", {}, "in no unit"), ("units", {"cloud_area_fraction": "1"}, "in 1, wanted %")],
)
def test_another_unit_is_not_taken_for_the_documented_one(at: str, value: Any, told: str, tmp_path: Path) -> None:
    other = document()
    other["properties"]["meta"][at] = value
    reply = Reply(body=json.dumps(other).encode())
    with serving(reply) as service, pytest.raises(FetchError, match=told):
        fetch(service, tmp_path)


def test_an_answer_for_another_place_is_refused_and_one_across_the_date_line_is_not(tmp_path: Path) -> None:
    other = document()
    other["geometry"]["coordinates"] = [-78.95, 36.1]
    reply = Reply(body=json.dumps(other).encode())
    with serving(reply) as service, pytest.raises(FetchError, match=r"for 36.1000, -78.9500, not for the yard"):
        fetch(service, tmp_path)
    other["geometry"]["coordinates"] = [179.99, -17.0]
    west = Site(latitude=-17.0, longitude=-179.99, timezone="Pacific/Fiji")
    with serving(Reply(body=json.dumps(other).encode())) as service:
        assert fetch(service, tmp_path, site=west).is_new


@pytest.mark.parametrize("status", [429, 500, 502, 503, 504])
def test_a_busy_service_is_asked_again_after_a_pause(status: int, tmp_path: Path) -> None:
    with serving(Reply(status, b""), Reply(status, b""), Reply()) as service:
        assert fetch(service, tmp_path).is_new
        assert len(service.asked) == 3


@pytest.mark.parametrize(("status", "told"), [(429, "asked too often"), (503, "out of order; try again later")])
def test_a_service_that_stays_busy_is_given_up(status: int, told: str, tmp_path: Path) -> None:
    with serving(Reply(status, b"")) as service:
        with pytest.raises(FetchError, match=f"{told}.*HTTP {status}"):
            fetch(service, tmp_path)
        assert len(service.asked) == QUICK.tries


def test_a_refusal_is_not_asked_again(tmp_path: Path) -> None:
    with serving(Reply(403, b"")) as service:
        with pytest.raises(FetchError):
            fetch(service, tmp_path)
        assert len(service.asked) == 1


def test_the_pause_is_as_long_as_the_service_asks_unless_nobody_would_wait_for_it(tmp_path: Path) -> None:
    with serving(Reply(429, b"", {"Retry-After": "1"}), Reply()) as service:
        began_s = time.monotonic()
        fetch(service, tmp_path)
        assert time.monotonic() - began_s >= 1.0
    with serving(Reply(429, b"", {"Retry-After": "3600"})) as service:
        with pytest.raises(FetchError, match="left alone for 3600 s"):
            fetch(service, tmp_path, LATER)
        assert len(service.asked) == 1


def test_a_silent_service_and_one_that_drips_end_in_time(tmp_path: Path) -> None:
    def silent():
        time.sleep(1.5)
        yield b""

    def drips():
        for _ in range(40):
            time.sleep(0.05)
            yield b" "

    for body, told in ((silent, "not answer in time"), (drips, "took longer than 0.5 s")):
        began_s = time.monotonic()
        with serving(Reply(body=body)) as service, pytest.raises(FetchError, match=told):
            fetch(service, tmp_path)
        assert time.monotonic() - began_s < 4.0


def test_an_answer_that_breaks_off_is_no_forecast(tmp_path: Path) -> None:
    def broken():
        yield json.dumps(document()).encode()[:3000]

    reply = Reply(body=broken, headers={"Content-Length": "90000"})
    with serving(reply) as service, pytest.raises(FetchError, match="broke off"):
        fetch(service, tmp_path)


def test_nobody_there_is_told_as_no_network(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{free.getsockname()[1]}/"
    with pytest.raises(FetchError, match="cannot be reached; is this computer on the network"):
        fetch_forecast(SITE, "store.example", tmp_path, now=NOW, base_url=address, limits=QUICK)


@pytest.mark.parametrize("url", ["http://weather.example/", "ftp://127.0.0.1/", "http://127.0.0.1.evil.example/"])
def test_only_https_is_asked_outside_this_machine(url: str, tmp_path: Path) -> None:
    with pytest.raises(FetchError, match="wanted https"):
        fetch_forecast(SITE, "store.example", tmp_path, now=NOW, base_url=url, limits=QUICK)


def test_a_failed_call_points_at_the_forecast_fetched_earlier_while_it_reaches_a_day_ahead(tmp_path: Path) -> None:
    with serving(Reply(), Reply(403, b"")) as service:
        saved = fetch(service, tmp_path).path
        # It ends 59 hours after 10:00.
        for hours, offered in ((35, saved), (36, None)):
            with pytest.raises(FetchError) as caught:
                fetch(service, tmp_path, FIRST + dt.timedelta(hours=hours))
            assert caught.value.saved == offered


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("")
    with serving() as service, pytest.raises(OutputError, match="cannot be made"):
        fetch(service, tmp_path / "taken" / "forecasts")
