"""One call over the network with a limit on everything: time, size, tries, where it may lead."""

from __future__ import annotations

import time
from dataclasses import dataclass
from urllib.parse import urlsplit

import requests
import urllib3
from requests.adapters import HTTPAdapter
from urllib3.response import BaseHTTPResponse
from urllib3.util.retry import Retry

from scheduler.errors import FetchError

#: Read in such pieces, so that neither a slow nor a packed answer grows past its limits unseen [bytes].
_PIECE_BYTES = 16_384

#: Nobody sits through a longer pause between two tries [s].
LONGEST_WAIT_S = 20.0

_OK = 200
_DEPRECATED = 203
_REDIRECTS = range(300, 400)
_NOT_MODIFIED = 304
_BUSY = (429, 500, 502, 503, 504)
_REFUSALS = {
    400: "it does not understand the call; is this an old version of sunroster?",
    403: "it does not accept the contact or the call; is --contact a real address or site of yours?",
    404: "it has nothing there; are latitude and longitude right?",
    422: "it has no forecast for this place; are latitude and longitude right?",
    429: "it has been asked too often; try again later",
}


@dataclass(frozen=True)
class Limits:
    """What a call may take.

    Parameters
    ----------
    connect_s, silence_s : float
        Longest wait for a connection, and between two pieces of an answer [s].
    answer_s : float
        Longest time for a whole answer [s].
    pause_s : float
        First pause between tries, doubled with each [s].
    most_bytes : int
        Size of an answer when unpacked; a forecast of ten days is some 300 kB.
    tries : int
        Where the service is busy or fails; no connection is tried for once again only.
    """

    connect_s: float = 10.0
    silence_s: float = 15.0
    answer_s: float = 60.0
    pause_s: float = 1.0
    most_bytes: int = 4_000_000
    tries: int = 4


@dataclass(frozen=True)
class Answer:
    """What came back; dates as the headers have them."""

    url: str
    content: bytes
    is_unchanged: bool
    is_deprecated: bool
    expires: str | None
    last_modified: str | None


class _RefusedError(Exception):
    """There is no answer to be had, for a reason in words."""


class _Patience(Retry):
    """Tries again when the service asks for it, but does not sleep for as long as it may like."""

    def sleep_for_retry(self, response: BaseHTTPResponse) -> bool:
        """Sleep for as long as the service asks; not at all if that is too long."""
        asked_s = self.get_retry_after(response)
        if asked_s is not None and asked_s > LONGEST_WAIT_S:
            msg = f"it asks to be left alone for {asked_s:.0f} s; try again later"
            raise _RefusedError(msg)
        return super().sleep_for_retry(response)


def ask(url: str, headers: dict[str, str], limits: Limits) -> Answer:
    """Get JSON from `url`, or the word that nothing has changed.

    Redirects are not followed.

    Raises
    ------
    FetchError
        For anything else, in words.
    """
    host = urlsplit(url).hostname or url
    if not _is_allowed(url):
        msg = f"{host} is not asked: wanted https"
        raise FetchError(msg)
    try:
        with requests.Session() as session:
            session.mount(f"{urlsplit(url).scheme}://", HTTPAdapter(max_retries=_patience(limits)))
            with session.get(
                url,
                headers=headers,
                timeout=(limits.connect_s, limits.silence_s),
                allow_redirects=False,
                stream=True,
            ) as response:
                return _read(response, limits)
    except (_RefusedError, requests.RequestException, urllib3.exceptions.HTTPError) as fault:
        msg = f"the weather service ({host}) gives no forecast: {_tell(fault)}"
        raise FetchError(msg) from fault


def _patience(limits: Limits) -> _Patience:
    return _Patience(
        total=limits.tries - 1,
        connect=1,
        read=1,
        status_forcelist=_BUSY,
        allowed_methods={"GET"},
        backoff_factor=limits.pause_s,
        raise_on_status=False,
    )


def _is_allowed(url: str) -> bool:
    """Whether it may be asked: over https, or on this machine."""
    parts = urlsplit(url)
    return parts.scheme == "https" or (
        parts.scheme == "http" and parts.hostname in {"127.0.0.1", "localhost"}
    )


def _read(response: requests.Response, limits: Limits) -> Answer:
    status = response.status_code
    if status != _NOT_MODIFIED and status in _REDIRECTS:
        elsewhere = urlsplit(response.headers.get("Location", "")).hostname or "another page"
        msg = f"it leads on to {elsewhere!r}, which is not followed; a newer sunroster may know the new place"
        raise _RefusedError(msg)
    if status not in (_OK, _DEPRECATED, _NOT_MODIFIED):
        what = _REFUSALS.get(status, "it is out of order; try again later" if status >= 500 else "it refuses")
        msg = f"{what} (HTTP {status})"
        raise _RefusedError(msg)
    return Answer(
        url=response.url,
        content=b"" if status == _NOT_MODIFIED else _read_json(response, limits),
        is_unchanged=status == _NOT_MODIFIED,
        is_deprecated=status == _DEPRECATED,
        expires=response.headers.get("Expires"),
        last_modified=response.headers.get("Last-Modified"),
    )


def _read_json(response: requests.Response, limits: Limits) -> bytes:
    kind = response.headers.get("Content-Type", "nothing").partition(";")[0].strip().lower()
    if not kind.endswith("json"):
        msg = f"its answer is {kind:.40}, wanted JSON; is there a sign-in page between?"
        raise _RefusedError(msg)
    content = bytearray()
    until_s = time.monotonic() + limits.answer_s
    while piece := response.raw.read1(_PIECE_BYTES, decode_content=True):
        content += piece
        if len(content) > limits.most_bytes:
            msg = f"its answer is over {limits.most_bytes / 1e6:g} MB, no forecast is"
            raise _RefusedError(msg)
        if time.monotonic() > until_s:
            msg = f"its answer took longer than {limits.answer_s:g} s"
            raise _RefusedError(msg)
    return bytes(content)


def _tell(fault: Exception) -> str:
    """Say in words what went wrong underway; what the libraries say is for programmers."""
    if isinstance(fault, _RefusedError):
        return str(fault)
    if isinstance(fault, requests.exceptions.SSLError):
        return "its certificate cannot be trusted; is this computer's clock right, is there a sign-in page?"
    if isinstance(fault, requests.Timeout | urllib3.exceptions.TimeoutError):
        return "it did not answer in time"
    if isinstance(fault, requests.exceptions.ProxyError):
        return "the proxy that this computer is set to use does not answer"
    if isinstance(fault, requests.ConnectionError):
        return "it cannot be reached; is this computer on the network?"
    return "its answer broke off or cannot be unpacked"
