"""What is fetched from elsewhere comes within its time or not at all, however the other side
behaves; and whoever fetches goes on."""

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from support.service import wait_until

from monitor.service import forecast as forecast_module
from monitor.service.forecast import Forecaster
from monitor.settings import load_settings
from monitor.settings.file_model import ForecastSettings
from monitor.tell.fetch import FetchFault, fetch
from monitor.tell.heartbeat import Heartbeat

pytestmark = pytest.mark.live

WELL = b"HTTP/1.1 200 OK\r\nContent-Length: 5\r\n\r\nhello"
HEAD = b"HTTP/1.1 200 OK\r\n"
NONSENSE = b"NONSENSE\r\n\r\n"
CUT = b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n1000\r\n{"
# What is said at once, and what then drips for ever.
DRIPPING = {
    "header": (HEAD + b"X: ", b"a"),
    "body": (HEAD + b"Content-Length: 100000\r\n\r\n", b" "),
    "handshake": (b"\x16\x03\x03\x40\x00", b"\x02"),
}


class Server:
    """Says `says` to whoever connects; then `drips`, byte by byte, for ever."""

    def __init__(self) -> None:
        self.says = WELL
        self.drips = b""
        self.asked = 0
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = self._listening.getsockname()[1]
        self._over = threading.Event()
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                one, _ = self._listening.accept()
                threading.Thread(target=self._answer, args=(one,), daemon=True).start()

    def _answer(self, one: socket.socket) -> None:
        self.asked += 1
        with contextlib.suppress(OSError), one:
            one.recv(4096)
            one.sendall(self.says)
            while self.drips and not self._over.wait(0.05):
                one.sendall(self.drips)

    def close(self) -> None:
        self._over.set()
        self._listening.close()


@contextmanager
def server() -> Iterator[Server]:
    made = Server()
    try:
        yield made
    finally:
        made.close()


def test_what_comes_is_read_up_to_a_limit() -> None:
    with server() as other:
        url = f"http://127.0.0.1:{other.port}/"
        assert fetch(url, {}, limit_s=30, most_bytes=100) == b"hello"
        assert fetch(url, {}, limit_s=30, most_bytes=2) == b"he"


@pytest.mark.parametrize("where", DRIPPING)
def test_a_server_that_drips_holds_a_request_no_longer_than_its_time(where: str) -> None:
    """Each byte comes long before the time for one is over: only the whole can end it."""
    with server() as other:
        other.says, other.drips = DRIPPING[where]
        scheme = "https" if where == "handshake" else "http"
        with pytest.raises(FetchFault, match="not within its time"):
            fetch(f"{scheme}://127.0.0.1:{other.port}/", {}, limit_s=1, most_bytes=10**6)


@pytest.mark.parametrize("says", [NONSENSE, CUT, b""])
def test_whatever_is_answered_it_is_an_answer_or_a_fault(says: bytes) -> None:
    with server() as other:
        other.says = says
        with pytest.raises(FetchFault, match="no answer"):
            fetch(f"http://127.0.0.1:{other.port}/secret", {}, limit_s=30, most_bytes=10**6)


def test_a_sign_of_life_that_is_sent_elsewhere_was_not_taken() -> None:
    with server() as other, server() as log_in:
        where = f"http://127.0.0.1:{log_in.port}/log-in".encode()
        other.says = b"HTTP/1.1 302 Found\r\nLocation: " + where + b"\r\nContent-Length: 0\r\n\r\n"
        with pytest.raises(FetchFault, match="answered 302 and sends us elsewhere"):
            fetch(f"http://127.0.0.1:{other.port}/", {}, limit_s=30, most_bytes=0)
        assert log_in.asked == 0


def test_signs_of_life_go_on_beside_a_server_that_drips_its_header() -> None:
    with server() as other:
        other.says, other.drips = DRIPPING["header"]
        heart = Heartbeat(f"http://127.0.0.1:{other.port}/", 0.1, limit_s=0.5)
        heart.start()
        try:
            wait_until(lambda: other.asked >= 3, 60, "further beats")
            assert heart.failing
            other.says, other.drips = WELL, b""
            wait_until(lambda: not heart.failing, 60)
        finally:
            heart.stop()


@pytest.mark.parametrize("what", [NONSENSE, CUT, *DRIPPING])
def test_the_forecast_is_fetched_again_after_whatever_was_answered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, what: bytes | str
) -> None:
    monkeypatch.setattr(forecast_module, "FETCH_LIMIT_S", 1.0)
    (tmp_path / "c.toml").write_text('[[brooders]]\nname = "porch"\nlength_m = 1\nwidth_m = 1\n')
    site = load_settings(tmp_path / "c.toml", {}, check_contacts=False).site
    with server() as other:
        if isinstance(what, str):
            other.says, other.drips = DRIPPING[what]
        else:
            other.says = what
        wanted = ForecastSettings(url=f"http://127.0.0.1:{other.port}/")  # type: ignore[arg-type]
        keeps = Forecaster(wanted, site, tmp_path, time.time, lambda: None)
        monkeypatch.setattr(forecast_module, "AGAIN_S", 0.05)
        keeps.start()
        try:
            wait_until(lambda: keeps.trouble is not None, 60, "the trouble to be said")
            asked = other.asked
            wait_until(lambda: other.asked > asked + 1, 60, "the next tries")
        finally:
            keeps.stop()
