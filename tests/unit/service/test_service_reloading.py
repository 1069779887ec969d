"""A configuration that cannot be loaded, for whatever reason, is said and changes nothing."""

import ast
import asyncio
from pathlib import Path
from unittest.mock import MagicMock

import pytest
from support.patience import LEAST_S
from support.service import wait_until
from support.watch_rig import Rig, place, running, site_of

from monitor.events import AlarmName
from monitor.service import reloading
from monitor.service.parts import Parts
from monitor.service.reloading import Reloading
from monitor.settings import Settings, load_settings
from monitor.watch.engine import Engine

OTHERS = (  # parts beside the watch and its record
    "delivery",
    "annunciator",
    "broker",
    "forecaster",
    "copying",
    "mains",
    "board",
    "voice",
)


@pytest.mark.parametrize("error", [RuntimeError("hidden-word"), OSError(5, "hidden-word")])
def test_whatever_keeps_it_from_being_loaded_is_said(
    caplog: pytest.LogCaptureFixture, error: Exception
) -> None:
    def fails() -> Settings:
        raise error

    before = MagicMock()
    parts = {name: MagicMock() for name in (*OTHERS, "calls", "core", "writer")}

    async def reload() -> Reloading:
        reloading = Reloading(before, fails, Parts(**parts))
        reloading.begin()
        while "reloaded" not in caplog.text:
            await asyncio.sleep(0.01)
        return reloading

    done = asyncio.run(asyncio.wait_for(reload(), LEAST_S))
    assert done.settings is before
    assert "Not reloaded." in caplog.text
    assert "hidden-word" not in caplog.text
    assert not any(part.method_calls for part in parts.values())


def test_a_fault_while_the_watch_takes_it_leaves_the_birds_watched_and_is_said(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    site_of(tmp_path)
    settings = load_settings(tmp_path / "brooder.toml", {}, check_contacts=False)
    parts = {name: MagicMock() for name in OTHERS}

    def fails(*_: object) -> None:
        raise RuntimeError("a fault of ours")

    with running(Rig(tmp_path, settings.site)) as rig:
        place(rig)
        monkeypatch.setattr(Engine, "restore", fails)

        async def reload() -> Reloading:
            all_parts = Parts(calls=rig.calls, core=rig.core, writer=rig.writer, **parts)
            reloading = Reloading(settings, lambda: settings, all_parts)
            reloading.begin()
            while "eloaded" not in caplog.text:
                await asyncio.sleep(0.01)
            return reloading

        with caplog.at_level("INFO"):
            asyncio.run(asyncio.wait_for(reload(), LEAST_S))
        assert "Not reloaded" in caplog.text
        assert "Reloaded." not in caplog.text
        assert not any(part.method_calls for part in parts.values())
        for temp_c in ("19.9", "19.8", "19.9"):  # one reading raises nothing
            rig.say(temp_c)
        wait_until(lambda: any(c.alarm is AlarmName.CHILL for c in rig.heard.changes))


def test_what_is_asked_of_the_watch_is_never_left_unread() -> None:
    """A statement that only calls `WatchCalls.call` drops the future and the fault in it."""
    unread = [
        f"{path}:{node.lineno}"
        for path in Path(reloading.__file__).parent.glob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Call)
        and isinstance(node.value.func, ast.Attribute)
        and node.value.func.attr == "call"
        and "Outcome: never a fault" not in path.read_text().splitlines()[node.lineno - 1]
    ]
    assert unread == []
