"""Lines held open, forms dripped in, heads without end: the page stays reachable. Real sockets."""

import asyncio
import socket
from collections.abc import Iterator
from contextlib import suppress

import pytest
from support.fake_api import NIGHT, FakeApi
from support.patience import LEAST_S
from support.ports import free_port
from support.served import Served
from support.service import wait_until
from support.visitor import Visitor

from monitor.page import forms, serve
from monitor.page.access import Access
from monitor.page.app import build_app


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    monkeypatch.setattr(serve, "SILENT_LINE_S", 0.5)
    monkeypatch.setattr(forms, "SLOWEST_FORM_S", 0.5)
    with Served(FakeApi(), clock=lambda: NIGHT) as page:
        yield page


def line_to(served: Served, said: bytes) -> socket.socket:
    line = socket.create_connection(("127.0.0.1", served.port), timeout=LEAST_S)
    with suppress(ConnectionError):  # a busy machine may be silent for too long before it speaks
        line.sendall(said)
    return line


def answered(served: Served, said: bytes) -> socket.socket:
    """A line that asked in time, as a busy machine may do only at the second try."""

    def once() -> socket.socket | None:
        line = line_to(served, said)
        with suppress(ConnectionError):
            if b"200" in line.recv(65536):
                return line
        line.close()
        return None

    return wait_until(once, what="an answer")


def is_closed(line: socket.socket) -> bool:
    """Waits for it."""
    with suppress(ConnectionError):
        while line.recv(65536):
            pass
    return True


@pytest.mark.parametrize("said", [b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: localhost\r\nX: "])
def test_a_line_that_never_asks_is_closed(served: Served, said: bytes):
    with line_to(served, said) as line:
        assert is_closed(line)


def test_a_second_request_that_never_ends_is_closed_too(served: Served):
    with answered(served, b"GET /static/mark.svg HTTP/1.1\r\nHost: localhost\r\n\r\n") as line:
        with suppress(ConnectionError):
            line.sendall(b"GET / HT")
        assert is_closed(line)


def test_a_live_stream_is_not_taken_for_a_silent_line(served: Served):
    with answered(served, b"GET /live HTTP/1.1\r\nHost: localhost\r\n\r\n") as line:
        line.settimeout(2.0)
        still_open = False
        try:
            while line.recv(65536):
                pass  # the first event; b"" would be the end of the line
        except TimeoutError:
            still_open = True
        assert still_open


def test_a_form_dripped_in_is_given_up(served: Served):
    head = (
        b"POST /do/note HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1000\r\n"
        b"Content-Type: application/x-www-form-urlencoded\r\n\r\nnote="
    )

    def given_up() -> bool:
        with line_to(served, head) as line, suppress(ConnectionError):
            return b" 408 " in line.recv(65536)
        return False  # it had not even asked in time

    wait_until(given_up, what="an answer")


def test_a_head_without_end_is_refused(served: Served):
    with line_to(served, b"GET / HTTP/1.1\r\nHost: localhost\r\n") as line:
        try:
            for _ in range(200):
                line.sendall(b"X-Long: " + b"x" * 1000 + b"\r\n")
            answer = line.recv(65536)
        except (BrokenPipeError, ConnectionResetError):
            answer = b""
        assert answer == b"" or b" 400 " in answer


def test_many_silent_lines_do_not_keep_the_grower_out(served: Served):
    lines = [line_to(served, b"GET / HT") for _ in range(serve.MOST_CONNECTIONS + 20)]
    try:
        wait_until(lambda: Visitor(served.port).get("/").status == 200, 60, "the page again")
    finally:
        for line in lines:
            line.close()


def test_stopping_frees_the_port_with_streams_still_open():
    port = free_port()
    with Served(FakeApi(), clock=lambda: NIGHT, port=port) as served:
        line = line_to(served, b"GET /live HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert b"200" in line.recv(65536)
    with socket.socket() as again:
        again.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        again.bind(("127.0.0.1", port))
    line.close()


def test_a_port_that_is_taken_is_named():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        app = build_app(FakeApi(), Access(passphrase_hash=None, key=b"k" * 32))
        with pytest.raises(serve.CannotListen, match=f"127.0.0.1:{port}.*another"):
            asyncio.run(serve.serve(app, "127.0.0.1", port))
