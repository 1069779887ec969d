"""One HTTP GET that ends when it should. Called by the heartbeat and the forecast.

A socket's time limit counts from one byte to the next: a server that drips can hold a request for
days. So a timer shuts the connection at the end of the whole request's time."""

import contextlib
import http.client
import socket
import threading
import urllib.error
import urllib.request
from collections.abc import Mapping
from typing import Any

CHUNK = 16384
LATE = "not within its time"


class FetchFault(Exception):
    """Why there is no answer, in words without the URL, which may be a secret."""


def fetch(url: str, headers: Mapping[str, str], *, limit_s: float, most_bytes: int) -> bytes:
    """At most `most_bytes` of the answer's body, within `limit_s` in all. Raises FetchFault."""
    if not url.startswith(("http://", "https://")):
        raise FetchFault("the URL must begin with http:// or https://")
    deadline = _Deadline(limit_s)
    try:
        opener = urllib.request.build_opener(_FollowNone(), *deadline.handlers())
        request = urllib.request.Request(url, headers=dict(headers))  # noqa: S310 - checked above
        with opener.open(request, timeout=limit_s) as answer:
            body = _body(answer, most_bytes)
    except urllib.error.HTTPError as fault:
        fault.close()
        moved = " and sends us elsewhere; correct the URL" if 300 <= fault.code < 400 else ""
        raise FetchFault(f"the server answered {fault.code}{moved}") from None
    except Exception as fault:  # also what the libraries do not foresee: it is only an answer
        why = LATE if deadline.passed else type(fault).__name__
        raise FetchFault(f"no answer ({why})") from None
    finally:
        deadline.end()
    if deadline.passed:  # what was shut looks like one that had ended
        raise FetchFault(f"no answer ({LATE})")
    return body


def _body(answer: http.client.HTTPResponse, most_bytes: int) -> bytes:
    parts: list[bytes] = []
    left = most_bytes
    while left > 0 and (part := answer.read(min(left, CHUNK))):
        parts.append(part)
        left -= len(part)
    return b"".join(parts)


class _FollowNone(urllib.request.HTTPRedirectHandler):
    """Whoever answers at another address, such as the log-in of a guest network, was not asked."""

    def redirect_request(self, *_: Any) -> None:
        return None


class _Deadline:
    """Shuts every connection of one request when its time is over."""

    def __init__(self, limit_s: float) -> None:
        self.passed = False
        self._sockets: list[socket.socket] = []
        self._lock = threading.Lock()
        self._timer = threading.Timer(limit_s, self._shut)
        self._timer.daemon = True
        self._timer.start()

    def end(self) -> None:
        self._timer.cancel()
        self._timer.join()
        for connected in self._sockets:
            connected.close()

    def handlers(self) -> tuple[urllib.request.BaseHandler, ...]:
        """For an opener whose connections are known here."""
        known = self._known

        class Plain(http.client.HTTPConnection):
            def connect(self) -> None:
                self._create_connection = known
                super().connect()

        class Secure(http.client.HTTPSConnection):
            def connect(self) -> None:
                self._create_connection = known  # before the handshake, which may drip too
                super().connect()

        class PlainHandler(urllib.request.HTTPHandler):
            def http_open(self, request: urllib.request.Request) -> http.client.HTTPResponse:
                return self.do_open(Plain, request)

        class SecureHandler(urllib.request.HTTPSHandler):
            def https_open(self, request: urllib.request.Request) -> http.client.HTTPResponse:
                return self.do_open(Secure, request)

        return PlainHandler(), SecureHandler()

    def _known(self, *where: Any) -> socket.socket:
        connected = socket.create_connection(*where)
        with self._lock:
            self._sockets.append(connected.dup())  # TLS takes the other one over
            if self.passed:
                _shut(connected)
        return connected

    def _shut(self) -> None:
        with self._lock:
            self.passed = True
            for connected in self._sockets:
                _shut(connected)


def _shut(connected: socket.socket) -> None:
    with contextlib.suppress(OSError):  # it is closed already
        connected.shutdown(socket.SHUT_RDWR)
