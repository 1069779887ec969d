"""Starts our service as a child of a process that has loaded what it loads: a start costs a second
of processor less, and a run of the tests has hundreds. It is a process of its own all the same. For
`support.service`, which starts in the usual way what wants a wrapper or another clock."""

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import ModuleType

_CONTEXT = multiprocessing.get_context("forkserver")
_CONTEXT.set_forkserver_preload(["monitor.commands.watch", "monitor.page.app"])


class Forked:
    """What the tests use of `subprocess.Popen`."""

    def __init__(
        self,
        words: Sequence[str],
        *,
        folder: Path,
        env: Mapping[str, str],
        says: tuple[Path, Path],
        hears: Path | None = None,
        shortened: Mapping[str, float] | None = None,
    ) -> None:
        """`brooder words` in that folder. `says`: the files that its output and its complaints are
        added to; `hears`: the file that is its input."""
        files = (str(hears or os.devnull), *map(str, says))
        given = (list(words), dict(shortened or {}), str(folder), dict(env), files)
        self._process = _CONTEXT.Process(target=_become, args=given, daemon=True)
        usual, sys.modules["__main__"] = sys.modules["__main__"], ModuleType("__main__")
        try:  # else it would load whatever runs the tests
            self._process.start()
        finally:
            sys.modules["__main__"] = usual
        assert self._process.pid is not None
        self.pid = self._process.pid

    def poll(self) -> int | None:
        return self._process.exitcode

    def wait(self, timeout: float | None = None) -> int:
        self._process.join(timeout)
        if self._process.exitcode is None:
            raise subprocess.TimeoutExpired("brooder", timeout or 0.0)
        return self._process.exitcode

    def kill(self) -> None:
        self._process.kill()

    def send_signal(self, number: signal.Signals) -> None:
        if self._process.exitcode is None:
            os.kill(self.pid, number)


def _become(
    words: list[str],
    shortened: dict[str, float],
    folder: str,
    env: dict[str, str],
    files: tuple[str, str, str],
) -> None:
    os.environ.clear()
    os.environ.update(env)
    time.tzset()
    os.chdir(folder)
    for fd, name in enumerate(files):
        how = os.O_WRONLY | os.O_APPEND | os.O_CREAT if fd else os.O_RDONLY
        file = os.open(name, how, 0o644)
        os.dup2(file, fd)
        os.close(file)
    sys.stdin = open(0, closefd=False)  # noqa: SIM115 - as long as the program lasts
    sys.argv = ["-c", *words]
    for path, value in shortened.items():
        _shorten(path, value)

    from monitor.commands import main  # noqa: PLC0415 - loaded by the parent

    main()


def _shorten(path: str, value: float) -> None:
    """Wherever the constant is known by now."""
    module, _, name = path.rpartition(".")
    __import__(module)
    usual = getattr(sys.modules[module], name)
    assert usual != value
    for known in list(sys.modules.values()):
        if known.__name__.startswith("monitor.") and getattr(known, name, None) is usual:
            setattr(known, name, value)
