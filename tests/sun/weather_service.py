"""A weather service on this machine: documents of the real one's documented shape, and its faults."""

from __future__ import annotations

import datetime as dt
import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

ISSUED = dt.datetime(2027, 6, 8, 9, 41, 7, tzinfo=dt.UTC)
FIRST = dt.datetime(2027, 6, 8, 10, tzinfo=dt.UTC)
LAST_MODIFIED = "Tue, 08 Jun 2027 09:41:07 GMT"
EXPIRES = "Tue, 08 Jun 2027 10:12:33 GMT"


def details(hour: int) -> dict[str, float]:
    """A day that is hot and clear in the afternoon; plain numbers, so that means can be worked out by hand."""
    return {
        "air_pressure_at_sea_level": 1016.2,
        "air_temperature": 15.0 + hour % 24 / 2.0,
        "air_temperature_percentile_10": 14.0,
        "air_temperature_percentile_90": 29.0,
        "cloud_area_fraction": float(hour % 24 * 4),
        "cloud_area_fraction_high": 3.1,
        "dew_point_temperature": 14.1,
        "fog_area_fraction": 0.0,
        "relative_humidity": 90.0 - hour % 24,
        "ultraviolet_index_clear_sky": 4.2,
        "wind_from_direction": 121.5,
        "wind_speed": 2.0 + hour % 24 / 10.0,
        "wind_speed_of_gust": 5.4,
    }


def document(hourly: int = 60, six_hourly: int = 30) -> dict[str, Any]:
    """Moments an hour apart, then six hours apart, as the service's General Forecast Format has them."""
    hours = [*range(hourly), *(hourly - 1 + 6 * number for number in range(1, six_hourly + 1))]
    units = {
        "air_pressure_at_sea_level": "hPa",
        "air_temperature": "celsius",
        "cloud_area_fraction": "%",
        "relative_humidity": "%",
        "wind_speed": "m/s",
    }
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [-79.95, 36.1, 270]},
        "properties": {
            "meta": {"updated_at": f"{ISSUED:%Y-%m-%dT%H:%M:%SZ}", "units": units},
            "timeseries": [
                {
                    "time": f"{FIRST + dt.timedelta(hours=hour):%Y-%m-%dT%H:%M:%SZ}",
                    "data": {
                        "instant": {"details": details(hour)},
                        "next_6_hours": {"summary": {"symbol_code": "fair_day"}, "details": {}},
                    },
                }
                for hour in hours
            ],
        },
    }


@dataclass
class Reply:
    """What the service answers: `body` as it stands, or piece by piece where it is a function."""

    status: int = 200
    body: bytes | Callable[[], Iterator[bytes]] = field(default_factory=lambda: json.dumps(document()).encode())
    headers: dict[str, str] = field(default_factory=dict)


@dataclass
class Service:
    """A running service: its address, what it answers call by call (the last one for good), and what it was asked."""

    url: str
    replies: list[Reply]
    asked: list[tuple[str, dict[str, str]]] = field(default_factory=list)


@contextmanager
def serving(*replies: Reply) -> Iterator[Service]:
    """Serve on loopback until the end of the block."""

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            service.asked.append((self.path, dict(self.headers)))
            reply = service.replies.pop(0) if len(service.replies) > 1 else service.replies[0]
            self.send_response(reply.status)
            plain = {"Content-Type": "application/json", "Expires": EXPIRES, "Last-Modified": LAST_MODIFIED}
            for name, value in {**plain, **reply.headers}.items():
                if value:
                    self.send_header(name, value)
            if isinstance(reply.body, bytes):
                body = b"" if reply.status == 304 else reply.body
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)
                return
            self.send_header("Connection", "close")
            self.end_headers()
            self.close_connection = True
            try:
                for piece in reply.body():
                    self.wfile.write(piece)
                    self.wfile.flush()
            except OSError:
                pass  # the other side has hung up, as it should

        def log_message(self, format: str, *args: object) -> None:
            """Tests print nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    service = Service(f"http://127.0.0.1:{server.server_port}/weatherapi/complete", list(replies) or [Reply()])
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
    thread.start()
    try:
        yield service
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
