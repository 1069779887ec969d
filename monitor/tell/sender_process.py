"""Starts the sender, hands it jobs, hears its answers, starts it anew if it dies. Used by
`delivery` and `brooder contacts try`; blocks nowhere but in `warm`."""

import json
import os
import subprocess
import sys
from typing import Any


class SenderProcess:
    """One running sender. `fd` is readable when there is an answer, or when it has died."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "monitor.tell.sender"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
            bufsize=0,
        )
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
        """Ends it and its children."""
        for pipe in (self._in, self._out):
            pipe.close()
        try:
            self._process.wait(2.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
