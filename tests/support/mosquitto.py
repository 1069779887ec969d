"""A real Mosquitto for a test: on a port it really got, awaited by its own answer.

    with Mosquitto(tmp_path) as broker:
        Session(BrokerAddress(host="127.0.0.1", port=broker.port), ...)

`broker.stop()`, `broker.start()` (same port, same folder) and `broker.kill()` serve fault tests."""

import shutil
import signal
import socket
import subprocess
import time
from pathlib import Path

import pytest
from support.patience import patience_s
from support.ports import free_port

BINARY = shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:/usr/bin:/usr/local/bin")
needs_mosquitto = pytest.mark.skipif(BINARY is None, reason="mosquitto is not installed")


class Mosquitto:
    """One broker process. `conf` is added to (or, with `whole=True`, is) its configuration; in it
    `{port}` and `{folder}` are filled in. `persistent` keeps sessions over a restart."""

    def __init__(
        self,
        folder: Path,
        conf: str = "",
        *,
        whole: bool = False,
        persistent: bool = False,
        port: int | None = None,
    ) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self.port = port or 0
        self._conf = conf
        self._whole = whole
        self._persistent = persistent
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> "Mosquitto":
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    @property
    def pid(self) -> int:
        """Of the running broker."""
        assert self._process is not None
        return self._process.pid

    def start(self) -> None:
        """Start and wait until it answers. A port that was taken meanwhile is tried anew."""
        assert BINARY is not None, "mosquitto is not installed"
        fixed = self.port
        for _ in range(5):
            self.port = fixed or free_port()
            path = self.folder / "mosquitto.conf"
            path.write_text(self._text())
            log = (self.folder / "mosquitto.log").open("ab")
            self._process = subprocess.Popen([BINARY, "-c", str(path)], stdout=log, stderr=log)
            log.close()
            if self._answers():
                return
            self.stop()
        raise AssertionError(f"mosquitto did not start:\n{self.log()}")

    def stop(self) -> None:
        """Clean stop (SIGTERM), waited for; killed when it does not come."""
        if self._process is None:
            return
        # Mosquitto writes its sessions to disk on the way out; a stopped (SIGSTOP) one is woken.
        self._process.send_signal(signal.SIGCONT)
        self._process.terminate()
        try:
            self._process.wait(timeout=patience_s(20))
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._process = None

    def kill(self) -> None:
        """As a power cut would."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def freeze(self) -> None:
        """Connections stay open and nothing answers any more."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Undo freeze()."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def log(self) -> str:
        """All it has said so far."""
        path = self.folder / "mosquitto.log"
        return path.read_text(errors="replace") if path.exists() else ""

    def _text(self) -> str:
        own = self._conf.replace("{port}", str(self.port)).replace("{folder}", str(self.folder))
        if self._whole:
            return own
        lines = [f"listener {self.port} 127.0.0.1", "log_type all", "user root"]
        if "allow_anonymous" not in own:
            lines.append("allow_anonymous true")
        if self._persistent:
            lines += ["persistence true", f"persistence_location {self.folder}/"]
        return "\n".join([*lines, own, ""])

    def _answers(self) -> bool:
        assert self._process is not None
        deadline = time.monotonic() + patience_s(20)
        while time.monotonic() < deadline:
            if self._process.poll() is not None:
                return False
            try:
                with socket.create_connection(("127.0.0.1", self.port), timeout=1):
                    return True
            except OSError:
                time.sleep(0.02)
        return False
