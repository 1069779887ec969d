"""Starts the sender, hands it jobs, hears its answers, starts it anew if it dies. Used by
`delivery` and `brooder contacts try`; blocks only in `warm`."""

import contextlib
import json
import os
import subprocess
from typing import Any

from monitor import child


class SenderProcess:
    """One running sender. `fd` is readable when there is an answer, or when it has died."""

    def __init__(self) -> None:
        self._process = child.start("monitor.tell.sender")
        if self._process.stdin is None or self._process.stdout is None:
            raise OSError("the sender has no pipes")
        self._in = self._process.stdin
        self.fd = self._process.stdout.fileno()
        self._out = self._process.stdout
        self._buffer = b""

    @property
    def pid(self) -> int:
        """For measuring."""
        return self._process.pid

    def hand(self, job: dict[str, Any]) -> None:
        """Gives it a job. Raises OSError when it is dead."""
        self._in.write(json.dumps(job).encode() + b"\n")

    def answers(self) -> list[dict[str, Any]] | None:
        """Call when `fd` is readable. None: it has died."""
        data = os.read(self.fd, 65536)
        if not data:
            return None
        *lines, self._buffer = (self._buffer + data).split(b"\n")
        return [json.loads(line) for line in lines]

    def end(self) -> None:
        """Ends it and its children; it has a moment to end what it sends by itself."""
        self._in.close()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(2.0)
        child.end(self._process)
