"""The one way to run a module of ours as a child process that has an end. Used by whoever keeps a
heavy library, or a hang, out of the watch: drawing, contacts' URLs, the configuration, the Record
screen, the sender of messages.

A child hears bytes on its standard input and says bytes on its standard output. It leads a group of
its own, so that whatever it has started ends with it, and no variable that may hold a secret of
ours comes with its environment."""

import contextlib
import os
import selectors
import signal
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from typing import BinaryIO

OURS = "BROODER_"  # what begins so sets a key of the configuration, and may be a secret
_LENGTH = struct.Struct("!I")


class ChildFailed(Exception):
    """It did not do what was asked; the message says why in one clause."""


class ChildLate(ChildFailed):
    """Its time was over, and it was ended."""


def environment() -> dict[str, str]:
    """What a child may know of ours."""
    return {name: value for name, value in os.environ.items() if not name.startswith(OURS)}


def start(
    module: str, *words: str, complains: bool = False, leads: bool = True
) -> "subprocess.Popen[bytes]":
    """`python -m module words`, with pipes; with `complains` its standard error is one too. A child
    of a child does not lead a group, so that it ends with that one's. Raises OSError."""
    return subprocess.Popen(  # noqa: S603 - our own module
        [sys.executable, "-m", module, *words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE if complains else subprocess.DEVNULL,
        env=environment(),
        start_new_session=leads,
        bufsize=0,
    )


def end(process: "subprocess.Popen[bytes]") -> None:
    """Kills it with all that it has started."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        if process.returncode is None and os.getpgid(process.pid) != process.pid:
            process.kill()
        else:  # also when it has ended: what it started may live
            os.killpg(process.pid, signal.SIGKILL)
    for pipe in (process.stdin, process.stdout, process.stderr):
        if pipe is not None:
            with contextlib.suppress(OSError):
                pipe.close()
    process.wait()


def run(module: str, *words: str, given: bytes, limit_s: float, leads: bool = True) -> bytes:
    """What it says when it has been given this. Raises ChildLate, ChildFailed."""
    try:
        process = start(module, *words, complains=True, leads=leads)
    except OSError as fault:
        raise ChildFailed(f"could not start: {fault.strerror}") from fault
    try:
        said, complaint = process.communicate(given, timeout=limit_s)
    except subprocess.TimeoutExpired:
        raise ChildLate(f"took longer than {limit_s:g} s and was stopped") from None
    finally:
        end(process)
    if process.returncode != 0:
        last = complaint.decode(errors="replace").strip().splitlines()[-1:] or ["no word why"]
        raise ChildFailed(f"failed ({process.returncode}): {last[0]}")
    return said


class Child:
    """One that answers again and again. For one thread at a time, but for `end`."""

    def __init__(self, module: str) -> None:
        """Starts the module. Raises OSError."""
        self._process = start(module)
        self._in_use = threading.Lock()

    @property
    def pid(self) -> int:
        """The number of its process."""
        return self._process.pid

    @property
    def alive(self) -> bool:
        """Has it not ended?"""
        return self._process.poll() is None

    def ask(self, request: bytes, limit_s: float) -> bytes:
        """Its answer. Raises ChildLate, ChildFailed; then it has been ended."""
        with self._in_use:
            return self._asked(request, time.monotonic() + limit_s)

    def _asked(self, request: bytes, until: float) -> bytes:
        try:
            self._say(_LENGTH.pack(len(request)) + request, until)
            (length,) = _LENGTH.unpack(self._hear(_LENGTH.size, until))
            return self._hear(length, until)
        except (OSError, ValueError) as fault:
            raise ChildFailed("broke off") from fault

    def end(self) -> None:
        """Kills it at once, whatever it is doing."""
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self._process.pid, signal.SIGKILL)
        with self._in_use:  # whoever asks has heard that it is gone, and leaves the pipes
            end(self._process)

    def _say(self, data: bytes, until: float) -> None:
        pipe = self._process.stdin
        if pipe is None:
            raise OSError("no pipe")
        os.set_blocking(pipe.fileno(), False)
        while data:
            self._wait(pipe.fileno(), selectors.EVENT_WRITE, until)
            data = data[os.write(pipe.fileno(), data[: 1 << 16]) :]

    def _hear(self, count: int, until: float) -> bytes:
        pipe = self._process.stdout
        if pipe is None:
            raise OSError("no pipe")
        data = bytearray()
        while len(data) < count:
            self._wait(pipe.fileno(), selectors.EVENT_READ, until)
            more = os.read(pipe.fileno(), min(count - len(data), 1 << 20))
            if not more:
                raise OSError("it has ended")
            data += more
        return bytes(data)

    def _wait(self, pipe: int, event: int, until: float) -> None:
        with selectors.DefaultSelector() as selector:
            selector.register(pipe, event)
            if not selector.select(max(0.0, until - time.monotonic())):
                raise ChildLate("took too long and was stopped")


def answer(reply: Callable[[bytes], bytes], requests: BinaryIO, answers: BinaryIO) -> None:
    """The other side of `Child`, in the child itself: until the requests end."""
    while head := requests.read(_LENGTH.size):
        said = reply(requests.read(*_LENGTH.unpack(head)))
        answers.write(_LENGTH.pack(len(said)) + said)
        answers.flush()
