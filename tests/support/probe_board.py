"""Stand-ins for what a Wi-Fi board has and this machine has not, and the probe program on them.

with board(port=broker.port) as main: main.run(rounds=2)"""

import importlib.util
import sys
import time
import types
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

PROBE = Path(__file__).parents[2] / "deploy" / "probe"
ROM = bytes.fromhex("28c3fde2050000") + b"\x00"  # 28-000005e2fdc3
TICKS = 1 << 30  # where MicroPython's milliseconds begin again
GOOD = bytes.fromhex("72014b467fff0e1057")


class Board:
    """What the test sets and sees."""

    def __init__(self) -> None:
        self.pads: dict[bytes, bytes | Exception] = {ROM: GOOD}
        self.fed = 0
        self.wifi = True
        self.memory = b""
        self.slept_ms: list[int] = []
        self.clock_shift_s = 0  # set by ntptime.settime()
        self.internet = True
        self.true_shift_s = 0
        self.number = b"\x01\x02\x03"
        self.hurries = True  # sleeps a hundredth of a second, and its ticks count the rest
        self.skipped_s = 0.0


def _modules(board: Board) -> dict[str, types.ModuleType]:
    def module(name: str, **content: object) -> types.ModuleType:
        made = types.ModuleType(name)
        made.__dict__.update(content)
        return made

    class Wdt:
        def __init__(self, timeout: int) -> None:
            assert timeout <= 8_388_000

        def feed(self) -> None:
            board.fed += 1

    class Rtc:
        def memory(self, data: bytes | None = None) -> bytes | None:
            if data is None:
                return board.memory
            assert len(data) <= 2048
            board.memory = bytes(data)
            return None

    class Wlan:
        def __init__(self, _kind: int) -> None:
            pass

        def active(self, _on: bool) -> None:
            pass

        def isconnected(self) -> bool:
            return board.wifi

        def connect(self, _name: str, _password: str) -> None:
            pass

    class Bus:
        def __init__(self, _wire: object) -> None:
            pass

        def scan(self) -> list[bytearray]:
            return [bytearray(rom) for rom in board.pads]

        def convert_temp(self) -> None:
            pass

        def read_scratch(self, rom: bytes) -> bytearray:
            pad = board.pads.get(bytes(rom), Exception("no answer"))
            if isinstance(pad, Exception):
                raise pad
            return bytearray(pad)

    def settime() -> None:
        if not board.internet:
            raise OSError("no answer from the time server")
        board.clock_shift_s = board.true_shift_s

    return {
        "machine": module(
            "machine",
            WDT=Wdt,
            RTC=Rtc,
            Pin=lambda number: number,
            unique_id=lambda: board.number,
            deepsleep=board.slept_ms.append,
        ),
        "network": module("network", WLAN=Wlan, STA_IF=0),
        "ntptime": module("ntptime", settime=settime),
        "onewire": module("onewire", OneWire=lambda pin: pin),
        "ds18x20": module("ds18x20", DS18X20=Bus),
    }


@contextmanager
def board(**settings: object) -> Iterator[tuple[Board, types.ModuleType]]:
    """The program of deploy/probe with the stand-ins, its settings overridden."""
    made = Board()
    replaced = _modules(made)
    replaced["settings"] = _load("settings", PROBE / "settings.py")
    own = {"BROKER": "127.0.0.1", "EVERY_S": 0, "WIFI_NAME": "hill"} | settings
    replaced["settings"].__dict__.update(own)
    clock = types.ModuleType("time")
    clock.__dict__.update(time.__dict__)

    def sleep(seconds: float) -> None:
        slept = min(seconds, 0.01) if made.hurries else seconds
        made.skipped_s += seconds - slept
        time.sleep(slept)

    clock.__dict__.update(
        time=lambda: time.time() + made.clock_shift_s,
        sleep=sleep,
        ticks_ms=lambda: int((time.monotonic() + made.skipped_s) * 1000) % TICKS,
        ticks_diff=lambda end, start: (end - start + TICKS // 2) % TICKS - TICKS // 2,
    )
    replaced["time"] = clock
    before = {name: sys.modules.get(name) for name in replaced}
    sys.modules.update(replaced)
    try:
        yield made, _load("probe_main", PROBE / "main.py")
    finally:
        for name, old in before.items():
            if old is None:
                del sys.modules[name]
            else:
                sys.modules[name] = old


def _load(name: str, path: Path) -> types.ModuleType:
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
