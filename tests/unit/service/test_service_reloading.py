"""A configuration that cannot be loaded, for whatever reason, is said and changes nothing."""

import asyncio
from unittest.mock import MagicMock

import pytest

from monitor.service.reloading import Reloading
from monitor.settings import Settings


@pytest.mark.parametrize("error", [RuntimeError("hidden-word"), OSError(5, "hidden-word")])
def test_whatever_keeps_it_from_being_loaded_is_said(
    caplog: pytest.LogCaptureFixture, error: Exception
) -> None:
    def fails() -> Settings:
        raise error

    before = MagicMock()
    parts = {name: MagicMock() for name in ("reaching", "watch", "telling", "writer", "broker")}

    async def reload() -> Reloading:
        reloading = Reloading(before, fails, **parts)
        reloading.begin()
        while "reloaded" not in caplog.text:
            await asyncio.sleep(0.01)
        return reloading

    done = asyncio.run(asyncio.wait_for(reload(), 30))
    assert done.settings is before
    assert "Not reloaded." in caplog.text
    assert "hidden-word" not in caplog.text
    assert not any(part.method_calls for part in parts.values())
