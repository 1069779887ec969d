"""A rehearsal on a machine that has no time for it: the night waits, and nothing is made up."""

import asyncio
import time
from datetime import date
from datetime import time as of_day
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from monitor.service.clock import FastClock
from monitor.service.core import Core
from monitor.service.rehearsal import play
from monitor.service.rehearsed_night import NightStory, RehearsedNight, site_file
from monitor.service.run import Hooks, Places, run
from monitor.settings import load_settings
from monitor.tell.message import Message

pytestmark = pytest.mark.live
ZONE = ZoneInfo("America/Chicago")
STALL_S = 1.5  # half an hour of the night: twice what is called a silence


def test_a_machine_that_stalls_makes_no_silence_of_the_night(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "brooder.toml").write_text(site_file(ZONE.key, "celsius", plugs=False))
    environ = {
        "BROODER_BUILT_IN_BROKER__PORT": "0",
        "BROODER_PAGE__ENABLED": "false",
    }
    settings = load_settings(tmp_path / "brooder.toml", environ, check_contacts=False)
    story = NightStory(
        lamp_fails=None, answered=None, mended=None, losses_found=None, ends=of_day(19, 45)
    )
    night = RehearsedNight(evening=date(2026, 2, 10), zone=ZONE, story=story)
    clock = FastClock(start_at=night.at(story.starts), speed=1200.0)
    heard = []
    hear = Core.hear

    def hears(core: Core, *said: object, **how: object) -> None:
        heard.append(said)
        if len(heard) in (50, 300):
            time.sleep(STALL_S)
        hear(core, *said, **how)  # type: ignore[arg-type]

    monkeypatch.setattr(Core, "hear", hears)
    told: list[Message] = []

    async def perform() -> None:
        hooks = Hooks(clock=clock, show=told.append)
        playing: list[asyncio.Task[None]] = []

        def ready(places: Places) -> None:
            playing.append(asyncio.ensure_future(play(settings, night, clock, places)))
            playing[0].add_done_callback(lambda _: hooks.stop.set())

        hooks.on_ready = ready
        await run(settings, hooks)
        playing[0].result()

    asyncio.run(perform())
    assert len(heard) > 700
    assert [message.title for message in told] == []
