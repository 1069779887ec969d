"""The page and the control socket of a real service, asked nonsense: never a fault of ours, never
a hanging service, and the watch goes on."""

import json
import socket
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from support.patience import LEAST_S
from support.service import Service, Thermometer, wait_until
from support.visitor import Visitor

pytestmark = pytest.mark.faults

PATHS = [
    "/", "/live", "/do", "/do/contacts", "/do/placed", "/do/loss", "/do/moved", "/do/note",
    "/do/undo/1", "/do/tonight", "/do/put-aside", "/record", "/record/span", "/record/loss",
    "/record/chart.json", "/record/drawing.js", "/set-up",
    "/set-up/probes", "/sign-in", "/answer/x", "/static/sheet.css", "/static/../run.py",
    "/alarm/porch/cold/1/acknowledge", "/alarm/porch/cold/1/shelve", "/paper",
]  # fmt: skip
KEYS = ["brooder", "count", "hatched", "kind", "note", "at", "from", "to", "day", "number", "next"]
odd = st.one_of(
    st.text(max_size=30),
    st.integers().map(str),
    st.sampled_from(["", "porch", "1e999", "nan", "-1", "2026-02-30", "../..", "%00", "a" * 3000]),
)
SETTINGS = settings(
    max_examples=120,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    with Service(tmp_path_factory.mktemp("s"), page=True) as running:
        yield running
        with Thermometer(running.broker_port) as probe:
            probe.say(31.0)
            probe.wait_acknowledged()
        wait_until(lambda: 31.0 in running.temps(), 30, "the watch to have gone on")
        assert running.stop() == 0
        assert "Traceback" not in running.log()


def quoted(text: str) -> str:
    """What may stand in a request line."""
    return "".join(
        c if c.isalnum() and c.isascii() else f"%{b:02X}" for c in text for b in [ord(c) & 255]
    )


@SETTINGS
@given(
    st.sampled_from(PATHS) | st.text(max_size=40).map(lambda t: "/" + quoted(t)),
    st.dictionaries(st.sampled_from(KEYS), odd, max_size=4),
)
@example("/record", {"brooder": "porch", "from": "9" * 400, "to": "-1"})
@example("/do/undo/" + "9" * 400, {})
def test_any_address_is_answered_and_is_no_fault_of_ours(
    service: Service, path: str, query: dict[str, str]
) -> None:
    if path == "/live":
        return  # a stream: it is read for ever
    assert service.page_port is not None
    tail = "&".join(f"{k}={quoted(v)}" for k, v in query.items())
    answer = Visitor(service.page_port).get(f"{path}?{tail}" if tail else path)
    assert answer.status < 500, f"{path}?{tail}"


@SETTINGS
@given(st.sampled_from(PATHS), st.dictionaries(st.sampled_from(KEYS), odd, max_size=6))
def test_any_form_is_answered_and_is_no_fault_of_ours(
    service: Service, path: str, form: dict[str, str]
) -> None:
    assert service.page_port is not None
    visitor = Visitor(service.page_port)
    visitor.get("/do/note")  # a form token
    form = {k: v.encode("utf-8", "replace").decode() for k, v in form.items()}
    answer = visitor.send(path, **form)
    assert answer.status < 500, path


@SETTINGS
@given(st.binary(max_size=300))
@example(b"GET / HTTP/1.1\r\nHost: " + b"a" * 70_000 + b"\r\n\r\n")
@example(b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03")
def test_any_bytes_at_the_pages_port_end_that_connection_only(
    service: Service, data: bytes
) -> None:
    assert service.page_port is not None
    with socket.create_connection(("127.0.0.1", service.page_port), timeout=LEAST_S) as line:
        try:
            line.sendall(data + b"\r\n\r\n")
            line.shutdown(socket.SHUT_WR)
            line.recv(1000)
        except OSError:
            pass  # it hung up: right
    assert Visitor(service.page_port).get("/sign-in").status < 500


@SETTINGS
@given(
    st.binary(max_size=300)
    | st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(
                    ["ask", "entry", "brooder", "count", "at", "name", "low_c", "undoes"]
                ),
                inner,
                max_size=5,
            )
        ),
        max_leaves=10,
    ).map(lambda value: json.dumps(value).encode())
)
@example(b'{"ask":"entry","entry":"loss","brooder":"porch","count":"x"}')
@example(b'{"ask":"entry","entry":"placed","brooder":"porch","count":1e400,"hatched":5}')
@example(b'{"ask":"tonight"}')
@example(b'{"ask":"tonight","brooder":[],"low_c":"x"}')
@example(b"[" * 100_000)
def test_any_line_at_the_control_socket_is_answered(service: Service, line: bytes) -> None:
    with socket.socket(socket.AF_UNIX) as talk:
        talk.settimeout(LEAST_S)
        talk.connect(str(next(path for path in service.control_paths if path.exists())))
        talk.sendall(line.replace(b"\n", b" ") + b"\n")
        reply = talk.makefile("rb").readline()
    said = json.loads(reply)
    assert set(said) in ({"answer"}, {"objection"}), line
