"""Mosquitto's own programs on this board: a password in the form that it asks for today, and its
files read anew. Called by `service.probe_accounts`."""

import os
import shutil
import subprocess
import tempfile
from contextlib import suppress
from pathlib import Path

from monitor.intake.accounts import hashed

_LIMIT_S = 60.0


class MosquittoFault(Exception):
    """One line that says what would be right."""


def hashed_by_mosquitto(name: str, password: str) -> str:
    """What stands in its password file after the name. The password goes there in a file for us
    alone, not as an argument that every user of the board can see. Raises MosquittoFault."""
    program = shutil.which("mosquitto_passwd")
    if program is None:  # Mosquitto runs in a container of its own: the same form, by ourselves
        return hashed(password)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "one"
        file.write_text(f"{name}:{password}\n", encoding="utf-8")
        _run([program, "-U", str(file)])
        stored = file.read_text(encoding="utf-8").strip().partition(":")[2]
    if not stored.startswith("$"):
        raise MosquittoFault("mosquitto_passwd did not write the password as it should")
    return stored


def let_mosquitto_read(accounts: Path) -> bool:
    """Has the Mosquitto of this board been told to read its files anew? Only root can, and only
    where its service manager runs it with them."""
    program = shutil.which("systemctl")
    if program is None or os.geteuid() != 0 or not accounts.is_relative_to("/etc/mosquitto"):
        return False
    with suppress(OSError, MosquittoFault):
        return _run([program, "reload", "mosquitto"])
    return False


def _run(words: list[str]) -> bool:
    try:
        done = subprocess.run(words, capture_output=True, check=False, timeout=_LIMIT_S)  # noqa: S603 - by name, our words
    except subprocess.TimeoutExpired as late:
        raise MosquittoFault(f"{Path(words[0]).name} did not end") from late
    return done.returncode == 0
