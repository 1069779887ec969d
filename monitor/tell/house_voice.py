"""Urgent alarms said aloud on this board's own sound, for a house in which no phone is near. Off
unless asked for. Owned by the service.

A thread of its own hands the words to espeak-ng, a child process with an end: a sound card that
hangs delays nobody. What cannot be said is left out, for what comes next is newer."""

import logging
import os
import queue
import shutil
import subprocess
import threading
from collections.abc import Callable, Iterable

from monitor import child
from monitor.events import Priority
from monitor.tell.message import Message, MessageKind

log = logging.getLogger(__name__)

PROGRAM = "espeak-ng"
TWICE = 2  # somebody asleep hears the end of the first and the whole of the second
_LIMIT_S = 60.0
_ALOUD = (MessageKind.RAISED, MessageKind.AGAIN)  # passing on says nothing new in the house


def spoken(message: Message) -> str | None:
    """What is said of a message; None: it is not for the middle of the night."""
    if message.priority is not Priority.URGENT or message.kind not in _ALOUD:
        return None
    words = message.short.replace("°F", "degrees").replace("°C", "degrees")
    return f"Brooder alarm. {words} "


class HouseVoice:
    """Says what it is given, one after the other."""

    def __init__(self, wanted: Callable[[], bool], program: str = PROGRAM) -> None:
        """`wanted` is asked each time: a reload may switch it on or off."""
        self._wanted = wanted
        self._program = program
        self._said: queue.Queue[str | None] = queue.Queue(maxsize=4)
        self._thread = threading.Thread(target=self._run, name="voice", daemon=True)
        self.trouble: str | None = None  # why the last words were not heard

    def start(self) -> None:
        """Ready to speak; says nothing of itself."""
        self._thread.start()

    def stop(self) -> None:
        """Lets go of what is being said."""
        self._wanted = lambda: False
        self._put(None)

    def tell(self, messages: Iterable[Message]) -> None:
        """Says aloud what is to be heard of these messages; returns at once."""
        for message in messages:
            words = spoken(message)
            if words is not None:
                self.say(words)

    def say(self, words: str) -> None:
        """Aloud, twice. Returns at once; what finds no room is left out."""
        if self._wanted():
            self._put(words * TWICE)

    def _put(self, words: str | None) -> None:
        try:
            self._said.put_nowait(words)
        except queue.Full:
            log.info("Not said aloud: it is still speaking.")

    def _run(self) -> None:
        while (words := self._said.get()) is not None:
            why = self._aloud(words)
            if why is not None and why != self.trouble:
                log.warning("Not said aloud: %s.", why)
            self.trouble = why

    def _aloud(self, words: str) -> str | None:
        program = shutil.which(self._program)
        if program is None:
            return f"{self._program} is not installed"
        try:
            done = subprocess.run(  # noqa: S603 - one program by name; the words come by pipe
                [program, "--stdin", "-s", "140"],
                input=words.encode(),
                capture_output=True,
                timeout=_LIMIT_S,
                check=False,
                env=child.environment(),
            )
        except subprocess.TimeoutExpired:
            return f"{self._program} did not end within {_LIMIT_S:.0f} s"
        except OSError as fault:
            return f"{self._program} does not start ({os.strerror(fault.errno or 0)})"
        # It ends well even where there is no sound card, and only complains.
        lines = done.stderr.decode(errors="replace").splitlines()
        if done.returncode != 0 or any(line.startswith("error:") for line in lines):
            return f"{self._program} finds no sound on this board"
        return None
