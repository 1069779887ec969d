"""The real service as a process of its own, with a made configuration, awaited by its own word.

    with Service(tmp_path) as service:                     # built-in broker
        with Thermometer(service.broker_port) as probe:    # QoS 1; knows what was acknowledged
            probe.say(33.4)
        service.kill()                                     # -9
        service.start()                                    # same ports, same records
        service.stop()                                     # SIGTERM; its exit code
        temps = service.temps("porch/floor")               # what its journal has

With a broker of one's own: `Service(tmp_path, broker_port=mosquitto.port)`. Contacts are named by
their URL: `Service(tmp_path, contacts={"phone": receiver.url})`."""

import os
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta, tzinfo
from datetime import time as clock_time
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from support.forked import Forked
from support.patience import patience_s
from support.ports import free_port

from monitor.events import AlarmName, Change
from monitor.journal.reader import JournalReader
from monitor.service import control
from monitor.settings import Settings

MAIN = "from monitor.commands import main; main()"
FLOOR = "brooder/porch/floor"
ZONE = "America/Chicago"

# So long a calm must last before anybody is told of it.
ALL_CLEAR_HOLDS = "monitor.tell.incident.BACK_S"
# What is said to a broker before its topics are asked for is lost to everybody. A start says that
# it watches after two seconds all the same, which a busy machine may need for asking.
HEARD_WITHIN = "monitor.service.broker_side.HEAR_WITHIN_S"
# The screen after an answer shows it, unless the watch takes longer than somebody is kept waiting.
TAKEN_WITHIN = "monitor.page.screen_alarm.TAKEN_WITHIN_S"
# Short delays: a minute of a real night in a second of a test.
QUICK_LIMITS = {"band_delay_s": 1, "harm_delay_s": 0.5, "clear_delay_s": 1}


def wait_until(true: Callable[[], Any], within_s: float = 60.0, what: str = "it") -> Any:
    """Waits until `true()` gives something true, and returns that; fails after `within_s`."""
    deadline = time.monotonic() + patience_s(within_s)
    while True:
        found = true()
        if found:
            return found
        assert time.monotonic() < deadline, f"waited {within_s} s in vain for {what}"
        time.sleep(0.02)


def no_daily_message_soon(zone: tzinfo, at: float) -> dict[str, clock_time]:
    """At whatever hour a test runs, neither bedtime's nor the morning's message comes between those
    that it counts."""
    now = datetime.fromtimestamp(at, zone)
    later = {"morning_at": now + timedelta(hours=8), "evening_at": now + timedelta(hours=12)}
    return {key: at.time().replace(second=0, microsecond=0) for key, at in later.items()}


def hatched_yesterday() -> str:
    """So that in whatever zone, at whatever hour, they are in their first week."""
    return (datetime.now(UTC) - timedelta(days=1)).date().isoformat()


class Service:
    """One `brooder watch`. `more` is TOML put at the end; `limits` are the brooder's;
    `wrapper` goes before the command (prlimit, faketime, setpriv); `probes` are name -> topic;
    `shortened` names waits of the program that are set otherwise ("monitor.service.writer.X": s);
    `prelude` is run before the program, to put another clock in."""

    def __init__(
        self,
        folder: Path,
        *,
        broker_port: int | None = None,
        broker: str = "",
        broker_host: str = "127.0.0.1",
        contacts: Mapping[str, str] | None = None,
        page: bool = False,
        probes: Mapping[str, str] | None = None,
        limits: Mapping[str, float] | None = None,
        commit_s: float = 20.0,
        tell: str = "",
        page_lines: str = "",
        contact_lines: str = "",
        heat_lines: str = "",
        more: str = "",
        wrapper: Sequence[str] = (),
        env: Mapping[str, str] | None = None,
        state: Path | None = None,
        log_level: str = "info",
        shortened: Mapping[str, float] | None = None,
        only: str | None = None,
        prelude: str = "",
    ) -> None:
        self.folder = folder
        self.config = folder / "brooder.toml"
        self.state = state or folder / "state"
        self.wrapper = tuple(wrapper)
        self.env = dict(env or {})
        self.contacts = dict(contacts or {})
        self.probes = dict(probes or {"floor": FLOOR})
        self.limits = dict(limits or {})
        self.box, self.box_lines = "porch", ""
        self.heat_lines = heat_lines
        self.commit_s = commit_s
        daily = no_daily_message_soon(ZoneInfo(ZONE), time.time())
        self._daily = "".join(f'{key} = "{at:%H:%M}"\n' for key, at in daily.items())
        self.tell = tell
        self.more = more
        self.broker_port = broker_port or free_port()
        self.page_port: int | None = free_port() if page else None
        self._own_broker = broker_port is None
        self._broker = broker
        self._broker_host = broker_host
        self._page_lines = page_lines
        self._contact_lines = contact_lines
        self._log_level = log_level
        self._shortened = {ALL_CLEAR_HOLDS: 2.0, HEARD_WITHIN: 20.0}
        self._shortened |= {TAKEN_WITHIN: 20.0} if page else {}
        self._shortened |= shortened or {}
        self.prelude = prelude
        self._only = only
        self.process: subprocess.Popen[bytes] | Forked | None = None
        folder.mkdir(parents=True, exist_ok=True)

    @property
    def own_broker(self) -> bool:
        """Does it run the built-in broker?"""
        return self._own_broker

    # -- life

    def __enter__(self) -> "Service":
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()

    def start(self, within_s: float = 60.0) -> None:
        """Starts, and waits until it says that it watches."""
        self.begin()
        try:
            self.wait_ready(within_s)
        except BaseException:
            self.kill()
            raise

    def begin(self) -> None:
        """Starts without waiting."""
        assert self.process is None, "it runs already"
        self.write_config()
        self._said_before = len(self.log())
        self._out_before = len(self.out())
        words = ["watch", "--config", str(self.config), "--log", self._log_level]
        if self._only is not None:
            words += ["--only", self._only]
        env = {**os.environ, "PYTHONUNBUFFERED": "1", **self.env}
        if not self.wrapper and not self.prelude:
            self.process = Forked(
                words,
                folder=self.folder,
                env=env,
                says=(self.folder / "out", self.folder / "log"),
                shortened=self._shortened,
            )
            return
        with (self.folder / "out").open("ab") as out, (self.folder / "log").open("ab") as err:
            self.process = subprocess.Popen(
                [*self.wrapper, sys.executable, "-c", self._program(), *words],
                stdout=out,
                stderr=err,
                stdin=subprocess.DEVNULL,
                env=env,
                cwd=self.folder,
            )

    def wait_ready(self, within_s: float = 60.0) -> None:
        """Until everything listens. Its ports are kept over a restart."""

        def ready() -> bool:
            assert self.process is not None
            code = self.process.poll()
            assert code is None, f"it ended at once ({code}):\n{self.log()}\n{self.out()}"
            return "Stop with Ctrl-C." in self.out()[self._out_before :] and (
                "the only safeguard" in self.out()[self._out_before :]
            )

        wait_until(ready, within_s, "the service to listen")
        out = self.out()[self._out_before :]
        if self._own_broker:
            found = re.search(r"Broker: +\S+:(\d+) ", out)
            assert found is not None, out
            self.broker_port = int(found[1])
        if self.page_port is not None:
            found = re.search(r"Page: +https?://[^:]+:(\d+)/", out)
            assert found is not None, f"no page:\n{self.log()}"
            self.page_port = int(found[1])

    def kill(self) -> None:
        """As a power cut would end it."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None

    def stop(self, within_s: float = 60.0) -> int:
        """SIGTERM, as a service manager stops it; its exit code."""
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        try:
            code = self.process.wait(patience_s(within_s))
        except subprocess.TimeoutExpired:
            self.kill()
            raise AssertionError(f"it did not stop within {within_s} s:\n{self.log()}") from None
        self.process = None
        return code

    def reload(self) -> None:
        """SIGHUP, with the configuration written anew."""
        assert self.process is not None
        self.write_config()
        said = len(self.log())
        self.process.send_signal(signal.SIGHUP)
        wait_until(lambda: re.search(r"Reloaded|Not reloaded", self.log()[said:]), 30, "a reload")

    @property
    def pid(self) -> int:
        """Of the service itself (with a wrapper that execs, the same)."""
        assert self.process is not None
        return self.process.pid

    @property
    def running(self) -> bool:
        """Has it not ended?"""
        return self.process is not None and self.process.poll() is None

    def _program(self) -> str:
        lines = []
        for path, value in self._shortened.items():
            module, _, name = path.rpartition(".")
            lines.append(f"import {module} as m; assert m.{name} != {value}; m.{name} = {value}")
        return "\n".join([self.prelude, *lines, MAIN])

    # -- what it says

    def log(self) -> str:
        """Its log of all starts."""
        return _text(self.folder / "log")

    def out(self) -> str:
        """Its terminal of all starts."""
        return _text(self.folder / "out")

    def log_of_this_start(self) -> str:
        """Its log since the last start."""
        return self.log()[self._said_before :]

    def wait_log(self, pattern: str, within_s: float = 60.0) -> None:
        """Until a line since the last start matches."""
        wait_until(
            lambda: re.search(pattern, self.log_of_this_start()),
            within_s,
            f"{pattern!r} in the log:\n{self.log_of_this_start()[-3000:]}",
        )

    def ask(self, what: str, /, **details: Any) -> Any:
        """As a command of this machine asks it."""
        return control.ask(self.control_paths, what, wait_s=patience_s(30), **details)

    @property
    def control_paths(self) -> tuple[Path, ...]:
        """Where it may take commands: a socket has no place deep in folders."""
        assert Settings.control_paths.fget is not None
        return Settings.control_paths.fget(SimpleNamespace(state_folder=self.state))

    def enter(self, entry: str, /, **details: Any) -> Any:
        """A ledger entry or an act on an alarm, by somebody who is sure of it."""
        return self.ask("entry", **{"entry": entry, "brooder": "porch", "yes": True, **details})

    def placed(self, count: int = 50) -> Any:
        """Meat chicks go in that hatched yesterday: the floor should be at about 35 degC."""
        said = self.enter("placed", count=count, hatched=hatched_yesterday(), kind="broiler")
        if not said["kept"]:  # in three seconds, that is
            wait_until(lambda: "placed" in self.entries(), what="the birds on the disk")
        return said

    # -- what it keeps

    @property
    def journal(self) -> Path:
        """Its database."""
        return self.state / "journal.db"

    def temps(self, probe: str = "porch/floor") -> list[float]:
        """Every reading of a probe that is on the disk, in order of time."""
        if not self.journal.exists():
            return []
        reader = JournalReader(self.journal)
        try:
            return list(reader.readings_plain(probe, 0.0, 4e9)[1])
        finally:
            reader.close()

    def changes(self, alarm: AlarmName | None = None) -> list[Change]:
        """Alarm changes that are on the disk."""
        reader = JournalReader(self.journal)
        try:
            return [c for c in reader.changes() if alarm is None or c.alarm is alarm]
        finally:
            reader.close()

    def entries(self) -> list[str]:
        """The ledger on the disk."""
        with JournalReader(self.journal) as reader:
            return [entry.entry.value for entry in reader.entries()]

    def command(
        self, *words: str, within_s: float = 60.0, typed: str | None = None
    ) -> "subprocess.CompletedProcess[str]":
        """`brooder ...` with this configuration, as somebody would type it; `typed`: what it is
        answered."""
        env = {**os.environ, "BROODER_CONFIG": str(self.config)}
        with tempfile.TemporaryDirectory() as folder:
            out, err, typing = (Path(folder) / name for name in ("out", "err", "typed"))
            typing.write_text(typed or "", encoding="utf-8")
            asked = Forked(words, folder=self.folder, env=env, says=(out, err), hears=typing)
            code = asked.wait(patience_s(within_s))
            return subprocess.CompletedProcess(words, code, _text(out), _text(err))

    # -- its configuration

    def write_config(self) -> None:
        """From the attributes, which a test may have changed."""
        own = f'[built_in_broker]\nlisten = "127.0.0.1"\nport = {self.broker_port}\n'
        other = (
            f'[broker]\nhost = "{self._broker_host}"\nport = {self.broker_port}\n{self._broker}\n'
        )
        probes = "".join(
            f'  [[brooders.probes]]\n  name = "{name}"\n  topic = "{topic}"\n  place = "floor"\n'
            for name, topic in self.probes.items()
        )
        limits = "".join(f"  {key} = {value}\n" for key, value in self.limits.items())
        contacts = "".join(
            f'[[contacts]]\nname = "{name}"\nurl = "{url}"\n{self._contact_lines}\n'
            for name, url in self.contacts.items()
        )
        page = "enabled = false" if self.page_port is None else f"port = {self.page_port}"
        self.config.write_text(
            f'[site]\nname = "Hillside"\ntimezone = "{ZONE}"\nunits = "celsius"\n\n'
            f"{own if self._own_broker else other}\n"
            f'[[brooders]]\nname = "{self.box}"\n{self.box_lines}\n'
            "length_m = 1.5\nwidth_m = 1.5\nheight_m = 0.56\n"
            f"{probes}"
            '  [[brooders.heat]]\n  name = "west lamp"\n  kind = "lamp"\n  watts = 250\n'
            f"{self.heat_lines}"
            + (f"  [brooders.limits]\n{limits}" if limits else "")
            + f"\n{contacts}\n[tell]\n{self._daily}{self.tell}\n"
            f"[page]\n{page}\n{self._page_lines}\n"
            f'[journal]\nfolder = "{self.state}"\ncommit_s = {self.commit_s}\n\n{self.more}\n',
            encoding="utf-8",
        )


def quick_service(folder: Path, phone: str, **given: Any) -> Service:
    """One that tells of a floor within seconds, to that address."""
    return Service(folder, contacts={"phone": phone}, limits=QUICK_LIMITS, **given)


class Thermometer:
    """A probe on the network: publishes with QoS 1, keeps what is not acknowledged, sends it again
    on the next connection. `acknowledged` are the values whose PUBACK came."""

    def __init__(
        self, port: int, topic: str = FLOOR, *, client_id: str = "floor-probe", window: int = 20
    ) -> None:
        self.topic = topic
        self.sent: list[str] = []
        self._lock = threading.Lock()
        self._flying: dict[int, str] = {}
        self._early: set[int] = set()
        self.acknowledged: list[str] = []
        self.client = paho.Client(
            callback_api_version=CallbackAPIVersion.VERSION2,
            client_id=client_id,
            clean_session=False,
        )
        self.client.max_inflight_messages_set(window)
        self.client.reconnect_delay_set(1, 1)
        self.client.on_publish = self._on_publish
        # Long: a broker that is slow on a busy machine is not given up. What the probe itself then
        # sent anew is another message to the broker, and would be counted as one doubled.
        self.client.connect_async("127.0.0.1", port, keepalive=600)

    def __enter__(self) -> "Thermometer":
        self.client.loop_start()
        wait_until(self.client.is_connected, 30, "the probe to connect")
        return self

    def __exit__(self, *_: object) -> None:
        self.client.disconnect()
        self.client.loop_stop()

    def say(self, temp_c: float | str, topic: str | None = None) -> None:
        """Publishes; acknowledged some time later."""
        value = str(temp_c)
        # Not under our lock, which paho's thread wants while it holds its own. So a quick PUBACK
        # may come before its number is noted here.
        info = self.client.publish(topic or self.topic, value, qos=1)
        with self._lock:
            self.sent.append(value)
            if info.mid in self._early:
                self._early.discard(info.mid)
                self.acknowledged.append(value)
            else:
                self._flying[info.mid] = value

    def goes_on(self, temp_c: float, count: int, every_s: float = 0.1) -> None:
        """Says about that, so many times, each time another value."""
        for number in range(count):
            self.say(f"{temp_c + number / 1000:.4f}")
            time.sleep(every_s)

    def wait_acknowledged(self, count: int | None = None, within_s: float = 60.0) -> None:
        """Until that many (None: all that were said) are acknowledged."""
        wait_until(
            lambda: len(self.acknowledged) >= (len(self.sent) if count is None else count),
            within_s,
            f"acknowledgements: {len(self.acknowledged)} of {len(self.sent)} came",
        )

    def _on_publish(self, _client: Any, _userdata: Any, mid: int, *_: Any) -> None:
        with self._lock:
            value = self._flying.pop(mid, None)
            if value is None:
                self._early.add(mid)
            else:
                self.acknowledged.append(value)


def _text(path: Path) -> str:
    return path.read_text(errors="replace") if path.exists() else ""
