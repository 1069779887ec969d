"""Real receivers of messages: an HTTP server and an SMTP server that note what comes, each with
ways of being unwell. Used by every test that sends for real.

    with http_receiver() as phone:            # phone.url is an Apprise json:// URL
        ...
        phone.wait_for(1)                     # bounded wait on a condition
"""

import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from enum import StrEnum
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller
from support.patience import LEAST_S, patience_s
from support.ports import free_port


class Mode(StrEnum):
    """How the receiver behaves; may be changed while it runs."""

    WELL = "well"
    REFUSING = "refusing"  # answers 403
    FAILING = "failing"  # answers 500
    HANGING = "hanging"  # takes the request and never answers
    DRIPPING = "dripping"  # answers a byte now and then, for ever
    SLOW = "slow"  # answers after `slow_s`
    MOVED = "moved"  # answers 302 to a page that answers 200 to everything
    QUIET_MOVED = "quiet-moved"  # answers 302 and names no other address


@dataclass
class Got:
    """One thing that came."""

    at: float  # time.monotonic() when it had come completely
    title: str
    body: str
    raw: Any  # the JSON, or the EmailMessage
    path: str = ""


@dataclass
class Receiver:
    """What a running receiver knows."""

    host: str = "127.0.0.1"
    port: int = 0
    scheme: str = "json"
    suffix: str = "/hook"
    mode: Mode = Mode.WELL
    slow_s: float = 5.0
    got: list[Got] = field(default_factory=list)  # in every mode but REFUSING and FAILING
    tried: int = 0  # requests begun, in any mode
    holding: int = 0  # requests that hang or drip at this moment
    changed: threading.Condition = field(default_factory=threading.Condition)
    ended: threading.Event = field(default_factory=threading.Event)

    @property
    def url(self) -> str:
        """For a contact."""
        return f"{self.scheme}://{self.host}:{self.port}{self.suffix}"

    def wait_until(self, true: Callable[["Receiver"], bool], within_s: float = 60.0) -> None:
        """Waits until `true(self)`, which may look at other things too; fails after `within_s`."""
        deadline = time.monotonic() + patience_s(within_s)
        with self.changed:
            while not true(self):
                assert time.monotonic() < deadline, (
                    f"waited {within_s} s in vain; got {[g.title for g in self.got]}"
                )
                self.changed.wait(0.05)

    def wait_for(self, count: int, within_s: float = 60.0) -> list[Got]:
        """Waits until that many have come."""
        self.wait_until(lambda me: len(me.got) >= count, within_s)
        return list(self.got)

    def titles(self) -> list[str]:
        """What came, in order."""
        return [got.title for got in self.got]

    def note(self, *, tried: int = 0, holding: int = 0, got: Got | None = None) -> None:
        """For the servers below."""
        with self.changed:
            self.tried += tried
            self.holding += holding
            if got is not None:
                self.got.append(got)
            self.changed.notify_all()


@contextmanager
def http_receiver(mode: Mode = Mode.WELL) -> Iterator[Receiver]:
    """An HTTP server for Apprise's json:// and for heartbeats (GET)."""
    me = Receiver(mode=mode)

    class Handler(BaseHTTPRequestHandler):
        def log_message(self, *args: Any) -> None:
            pass

        def do_GET(self) -> None:
            me.note(tried=1)
            self._answer(Got(time.monotonic(), "", "", None, self.path))

        def do_POST(self) -> None:
            me.note(tried=1)
            data = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            raw = json.loads(data)
            self._answer(
                Got(time.monotonic(), raw.get("title", ""), raw.get("message", ""), raw, self.path)
            )

        def _answer(self, got: Got) -> None:
            match me.mode:
                case Mode.REFUSING:
                    self.send_error(403)
                case Mode.FAILING:
                    self.send_error(500)
                case Mode.HANGING:
                    self._hold(drip=False)
                case Mode.DRIPPING:
                    self.send_response(200)
                    self.send_header("Content-Length", "100000")
                    self.end_headers()
                    self._hold(drip=True)
                case Mode.MOVED | Mode.QUIET_MOVED if got.path != "/log-in":
                    self.send_response(302)
                    if me.mode is Mode.MOVED:
                        self.send_header("Location", "/log-in")
                    self.send_header("Content-Length", "0")
                    self.end_headers()
                case _:
                    if me.mode is Mode.SLOW:
                        me.ended.wait(me.slow_s)
                    self.send_response(200)
                    self.send_header("Content-Length", "0")
                    self.end_headers()
                    me.note(got=got)

        def _hold(self, *, drip: bool) -> None:
            """Until the test ends or the other side has gone."""
            me.note(holding=1)
            self.connection.settimeout(0.2)
            try:
                while not me.ended.is_set():
                    try:
                        if not self.connection.recv(1):
                            break
                    except TimeoutError:
                        if drip:
                            self.wfile.write(b".")
                            self.wfile.flush()
            except OSError:
                pass
            finally:
                self.close_connection = True
                me.note(holding=-1)

    server = ThreadingHTTPServer((me.host, 0), Handler)
    server.daemon_threads = True
    me.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield me
    finally:
        me.ended.set()
        server.shutdown()
        server.server_close()
        thread.join(5)


@contextmanager
def smtp_receiver() -> Iterator[Receiver]:
    """An SMTP server without TLS for Apprise's mailto://."""
    me = Receiver(
        scheme="mailto",
        suffix="/?mode=insecure&from=brooder@hillside.example&to=grower@hillside.example",
    )

    class Handler:
        async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
            me.note(tried=1)
            mail = message_from_bytes(envelope.content, policy=policy.default)
            assert isinstance(mail, EmailMessage)
            plain = mail.get_body(("plain",)) or mail.get_body(("html",))
            text = plain.get_content() if plain else ""
            me.note(got=Got(time.monotonic(), str(mail["Subject"]), text, mail))
            return "250 taken"

    me.port = free_port()  # it cannot tell a port it chose itself
    controller = Controller(Handler(), hostname=me.host, port=me.port, ready_timeout=LEAST_S)
    controller.start()
    try:
        yield me
    finally:
        me.ended.set()
        controller.stop()


@contextmanager
def refusing_port() -> Iterator[Receiver]:
    """A port on which nobody listens; it stays reserved, so that nobody else gets it."""
    me = Receiver(mode=Mode.REFUSING)
    with socket.socket() as held:
        held.bind((me.host, 0))  # bound but not listening: connections are refused
        me.port = held.getsockname()[1]
        yield me
