"""Reads whether there is mains power where this board itself knows it: a file of the system, or a
UPS by way of Network UPS Tools (its own client `upsc`, networkupstools.org). What is read goes the
way of any other message, under a topic of our own.

A thread of its own, for a UPS server may hang."""

import contextlib
import json
import logging
import subprocess
import threading
from collections.abc import Callable

from monitor.child import environment
from monitor.service.logs import facts
from monitor.settings.file_model import MainsSettings

log = logging.getLogger(__name__)
EVERY_S = 10.0
_LATE_S = 8.0
_LONGEST = 4096


class MainsUnread(Exception):
    """The mains cannot be read: why, in one clause."""


class MainsReading:
    """Reads at an interval, and hands on what it reads as a payload."""

    def __init__(self, settings: MainsSettings | None, hand_on: Callable[[bytes], None]) -> None:
        self._settings = settings
        self._hand_on = hand_on
        self._stopping = False
        self._wake = threading.Event()
        self.trouble: str | None = None  # why the last try failed

    def start(self) -> None:
        """Begins; where the mains is said by MQTT, or by nobody, there is nothing to read."""
        threading.Thread(target=self._run, name="mains", daemon=True).start()

    def stop(self) -> None:
        """Ends it; a question under way is left to its time limit."""
        self._stopping = True
        self._wake.set()

    def take(self, settings: MainsSettings | None) -> None:
        self._settings, self.trouble = settings, None
        self._wake.set()

    def _run(self) -> None:
        while not self._stopping:
            settings = self._settings
            if settings is not None and settings.topic is None:
                self._once(settings)
                self._wake.wait(EVERY_S)
            else:
                self._wake.wait()
            self._wake.clear()

    def _once(self, settings: MainsSettings) -> None:
        try:
            payload = read(settings)
        except MainsUnread as why:
            if str(why) != self.trouble:
                log.warning("Whether there is mains power cannot be read.", extra=facts(why=why))
            self.trouble = str(why)
        else:
            self.trouble = None
            self._hand_on(payload)


def read(settings: MainsSettings) -> bytes:
    """What the file or the UPS says now, as a payload with `status` and perhaps `seconds_left`.
    Raises MainsUnread."""
    said = _of_file(settings.file) if settings.file is not None else _of_ups(settings.ups or "")
    return json.dumps(said).encode()


def _of_file(path: str) -> dict[str, str | float]:
    try:
        with open(path, encoding="utf-8", errors="replace") as file:
            return {"status": file.read(_LONGEST).strip()}
    except OSError as error:
        raise MainsUnread(f"{path} cannot be read: {error.strerror}") from error


def _of_ups(name: str) -> dict[str, str | float]:
    try:
        done = subprocess.run(  # noqa: S603 - the settings allow no more than a name here
            ["upsc", name],  # noqa: S607 - wherever the system has it
            capture_output=True,
            env=environment(),
            timeout=_LATE_S,
            check=False,
        )
    except FileNotFoundError:
        raise MainsUnread("the program upsc is not installed (package nut-client)") from None
    except (OSError, subprocess.TimeoutExpired) as error:
        raise MainsUnread(f"upsc did not answer ({type(error).__name__})") from error
    rows = dict(
        line.split(": ", 1) for line in done.stdout.decode(errors="replace").splitlines()
        if ": " in line
    )  # fmt: skip
    if "ups.status" not in rows:
        why = done.stderr.decode(errors="replace").strip().splitlines()
        raise MainsUnread(f"upsc {name} gave no ups.status ({why[-1] if why else 'no reason'})")
    said: dict[str, str | float] = {"status": rows["ups.status"]}
    with contextlib.suppress(KeyError, ValueError):  # many cheap ones do not know it
        said["seconds_left"] = float(rows["battery.runtime"])
    return said
