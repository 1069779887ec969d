"""Small parts of the service: held messages' times, commit allowance, forecast, control socket."""

import asyncio
import json
import subprocess
import sys
import threading
from contextlib import suppress
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.service import wait_until

from monitor.brooding.objection import Objection
from monitor.events import Moment
from monitor.intake.forecast_json import ForecastFault, read_forecast
from monitor.intake.held import HeldTimes
from monitor.intake.inbox import MqttMessage
from monitor.journal.pacing import CommitAllowance
from monitor.service import control
from monitor.service import forecast as forecast_module
from monitor.service.forecast import Forecaster, kept_forecast
from monitor.settings import load_settings
from monitor.settings.file_model import ForecastSettings
from monitor.units import Unit

ZONE = ZoneInfo("America/Chicago")


def delivery(at: float, *, held: bool = False) -> MqttMessage:
    return MqttMessage("brooder/porch/floor", b"33", Moment(at, at), None, held=held)


def test_a_service_does_not_load_what_only_a_few_need() -> None:
    """Tens of megabytes, and seconds of the start on a small board."""
    heavy = "numpy", "vl_convert", "influxdb_client", "starlette", "amqtt", "apprise"
    script = f"import sys, monitor.commands.watch; print(set({heavy}) & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, check=True)
    assert done.stdout.strip() == b"set()"


def test_a_backlog_is_spread_at_the_probes_own_pace() -> None:
    times = HeldTimes()
    for at in (0.0, 30.0, 60.0, 90.0):
        times.moment_of(delivery(at))
    came_at = 90.0 + 5 * 30.0
    spread = [times.moment_of(delivery(came_at, held=True)).at for _ in range(4)]
    assert spread == [120.0, 150.0, 180.0, 210.0]


@given(st.lists(st.tuples(st.floats(0.1, 5000), st.booleans()), min_size=1, max_size=40))
def test_no_held_message_is_dated_after_it_came_or_before_the_one_before(
    steps: list[tuple[float, bool]],
) -> None:
    times, at, last = HeldTimes(), 0.0, -1.0
    for passed, held in steps:
        at += passed
        moment = times.moment_of(delivery(at, held=held))
        assert moment.at <= at
        assert moment.at >= last
        last = moment.at


def test_prompt_commits_are_spent_and_regained() -> None:
    allowance = CommitAllowance(regain_s=20.0, most=3.0, _saved=3.0)
    spent = 0
    for tick in range(10):
        if allowance.prompt(float(tick) / 10, 1.0):
            allowance.spent(float(tick) / 10)
            spent += 1
    assert spent == 3
    assert not allowance.prompt(10.0, 1.0)
    assert allowance.prompt(21.0, 1.0)


@given(st.floats(1, 100), st.integers(1, 500))
def test_prompt_commits_never_exceed_what_is_saved_and_regained(rate: float, n: int) -> None:
    allowance = CommitAllowance(regain_s=rate)
    spent, tick = 0, 0.0
    for _ in range(n):
        tick += 1.0
        if allowance.prompt(tick, 1.0):
            allowance.spent(tick)
            spent += 1
    assert spent <= 60 + tick / rate + 1


FORECAST = {
    "hourly": {
        "time": ["2026-02-10T18:00", "2026-02-10T19:00"],
        "temperature": [41.0, 39.2],
    }
}


def forecast(document: Any, **changed: Any) -> tuple[tuple[float, float], ...]:
    asked: dict[str, Any] = {
        "times": "/hourly/time",
        "temperatures": "/hourly/temperature",
        "unit": Unit.FAHRENHEIT,
        "zone": ZONE,
    } | changed
    return read_forecast(json.dumps(document).encode(), **asked)


def test_a_forecast_without_offsets_is_in_the_sites_time() -> None:
    (first, temp_c), _ = forecast(FORECAST)
    assert first == 1_770_768_000.0  # 2026-02-11T00:00Z: Chicago is six hours behind in winter
    assert temp_c == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("document", "changed", "says"),
    [
        ([], {}, "there is nothing at /hourly/time"),
        (FORECAST, {"times": "/daily"}, "there is nothing at /daily"),
        ({"hourly": {"time": ["x"], "temperature": [1]}}, {}, "is no time"),
        ({"hourly": {"time": [], "temperature": []}}, {}, "is empty"),
        ({"hourly": {"time": [1.0e9], "temperature": ["a"]}}, {}, "is no temperature"),
        ({"hourly": {"time": [1.0e9], "temperature": [400]}}, {}, "is the unit right"),
        ({"hourly": {"time": [1.0e9, 2.0e9], "temperature": [40]}}, {}, "has 2 entries"),
    ],
)
def test_a_wrong_forecast_names_what_is_wrong(document: Any, changed: Any, says: str) -> None:
    with pytest.raises(ForecastFault, match=says):
        forecast(document, **changed)


def test_the_watch_that_hears_a_forecast_waits_for_no_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A card may hang: only the thread of the forecast keeps it."""
    (tmp_path / "c.toml").write_text('[[brooders]]\nname = "porch"\nlength_m = 1\nwidth_m = 1\n')
    site = load_settings(tmp_path / "c.toml", {}, check_contacts=False).site
    card, hangs = forecast_module.write_whole, threading.Event()

    def slow(path: Path, data: bytes) -> None:
        assert threading.current_thread() is not threading.main_thread()
        hangs.wait()
        card(path, data)

    monkeypatch.setattr(forecast_module, "write_whole", slow)
    heard = Forecaster(ForecastSettings(topic="sky"), site, tmp_path, lambda: 1.0e9, lambda: None)
    heard.start()
    try:
        heard.hear(json.dumps(FORECAST).encode())
        assert heard.newest is not None
        assert kept_forecast(tmp_path) is None
        hangs.set()
        wait_until(lambda: kept_forecast(tmp_path) == heard.newest, 60, "it to be kept")
    finally:
        hangs.set()
        heard.stop()


@given(st.binary(max_size=200))
def test_any_bytes_are_a_forecast_or_a_fault(junk: bytes) -> None:
    with suppress(ForecastFault):  # anything else fails the test
        pairs = read_forecast(
            junk, times="/time", temperatures="/temp", unit=Unit.CELSIUS, zone=ZONE
        )
        assert pairs


def test_the_control_socket_answers_objects_and_survives_nonsense(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)  # a socket has no place deep in folders
    path = Path("control.sock")

    async def answer(what: str, details: dict[str, Any]) -> Any:
        if what == "bad":
            raise Objection("not that")
        if what == "broken":
            raise KeyError("a fault")
        return {"what": what, **details}

    async def scenario() -> None:
        server = await control.serve([path], answer)
        try:
            assert oct(path.stat().st_mode & 0o777) == "0o600"
            said = await asyncio.to_thread(control.ask, [path], "hello", n=1)
            assert said == {"what": "hello", "n": 1}
            with pytest.raises(Objection, match="not that"):
                await asyncio.to_thread(control.ask, [path], "bad")
            with pytest.raises(Objection, match="a fault"):
                await asyncio.to_thread(control.ask, [path], "broken")
            reader, writer = await asyncio.open_unix_connection(str(path))
            writer.write(b"\xff nonsense\n" + b"[1]\n")
            assert b"objection" in await reader.readline()
            assert b"objection" in await reader.readline()
            writer.close()
            assert await asyncio.to_thread(control.ask, [path], "again") == {"what": "again"}
        finally:
            server.close()

    asyncio.run(scenario())


def test_no_service_is_said_as_such(tmp_path: Path) -> None:
    with pytest.raises(control.NoService):
        control.ask([tmp_path / "control.sock"], "hello")


def test_a_place_in_which_others_may_write_is_no_place_for_commands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    state, shared = Path("gone", "control.sock"), Path("shared", "control.sock")
    shared.parent.mkdir()
    shared.parent.chmod(0o777)
    own = Path("own", "control.sock")

    async def answer(what: str, _details: dict[str, Any]) -> Any:
        return what

    async def scenario() -> None:
        (tmp_path / "gone").mkdir(mode=0o700)
        places = [state, shared, own]
        deep = [tmp_path / "gone" / ("x" * 200), *places[1:]]  # the first cannot be listened at
        server = await control.serve(deep, answer)
        try:
            assert own.exists()
            assert not shared.exists()
            assert await asyncio.to_thread(control.ask, places, "hello") == "hello"
            with pytest.raises(control.NoService):
                await asyncio.to_thread(control.ask, places[:2], "hello")
        finally:
            server.close()
            control.forget(places)
        assert not own.exists()

    asyncio.run(scenario())
