"""A real time series server for the mirror's tests: Debian's victoria-metrics takes what an
InfluxDB 2 client writes at /api/v2/write and gives it back at /api/v1/export."""

import json
import shutil
import subprocess
import time
import urllib.parse
import urllib.request
from pathlib import Path

import pytest
from support.patience import LEAST_S
from support.ports import free_port


class Victoria:
    """One server; may be stopped and started on the same data and port."""

    def __init__(self, folder: Path) -> None:
        binary = shutil.which("victoria-metrics")
        if binary is None:
            pytest.skip("victoria-metrics is not installed")
        self._binary, self._folder = binary, folder
        self._process: subprocess.Popen[bytes] | None = None
        self.port = free_port()  # it cannot tell a port it chose itself

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        self._folder.mkdir(parents=True, exist_ok=True)
        self._process = subprocess.Popen(
            [
                self._binary,
                f"-storageDataPath={self._folder}",
                f"-httpListenAddr=127.0.0.1:{self.port}",
                "-retentionPeriod=100y",
                "-memory.allowedBytes=64MB",
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        deadline = time.monotonic() + LEAST_S
        while time.monotonic() < deadline:
            try:
                with urllib.request.urlopen(f"{self.url}/health", timeout=LEAST_S):
                    return
            except OSError:
                if self._process.poll() is not None:
                    break
                time.sleep(0.05)
        pytest.fail("victoria-metrics did not start")

    def stop(self) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.wait(LEAST_S)
            self._process = None

    def series(self, match: str) -> dict[tuple[str, ...], list[tuple[int, float]]]:
        """(brooder, probe or "") -> [(ms, value)] of everything that matches."""
        urllib.request.urlopen(f"{self.url}/internal/force_flush", timeout=LEAST_S).close()
        query = urllib.parse.urlencode({"match[]": match})
        found: dict[tuple[str, ...], list[tuple[int, float]]] = {}
        with urllib.request.urlopen(f"{self.url}/api/v1/export?{query}", timeout=LEAST_S) as answer:
            for line in answer:
                said = json.loads(line)
                tags = said["metric"]
                key = (tags.get("brooder", ""), tags.get("probe", ""))
                pairs = zip(said["timestamps"], said["values"], strict=True)
                found.setdefault(key, []).extend(pairs)
        return {key: sorted(set(pairs)) for key, pairs in found.items()}
