"""The rehearsed night with plugs and without: what they are worth."""

from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

from monitor.events import AlarmName, Change, Entry, EntryKind, Moment
from monitor.service.core import Core
from monitor.service.rehearsed_night import NightStory, RehearsedNight, site_file
from monitor.settings import load_settings

ZONE = ZoneInfo("America/Chicago")


def first_word(folder: Path, *, plugs: bool) -> tuple[float, Change]:
    """Minutes after the lamp failed, and what was said. Nothing was told before."""
    file = folder / "brooder.toml"
    file.write_text(site_file(ZONE.key, "celsius", plugs=plugs))
    settings = load_settings(file, {}, check_contacts=False)
    story = NightStory(answered=None, mended=None, losses_found=None)
    night = RehearsedNight(evening=date(2026, 2, 9), zone=ZONE, story=story, plugs=plugs)
    begin = Moment(night.at(story.starts), night.at(story.starts))
    core = Core(settings.site, begin, next_entry_number=lambda: 1)
    hatched = night.hatched.isoformat()
    core.enter(
        Entry(
            at=begin.at, entry=EntryKind.PLACED, brooder="porch", count=100, hatched=hatched,
            kind="broiler",
        ),
        begin,
    )  # fmt: skip
    assert story.lamp_fails is not None
    fails = night.at(story.lamp_fails)
    for at, topic, payload in night.messages():
        now = Moment(at, at)
        core.advance(now)
        core.hear(topic, payload.encode(), now)
        told = [c for c in core.take(now).batch.changes if c.alarm is AlarmName.HEAT_LOSS]
        if told:
            return (at - fails) / 60.0, told[0]
    raise AssertionError("never told")


def test_with_plugs_the_dead_lamp_is_told_within_a_minute_and_sooner_than_without(
    tmp_path: Path,
) -> None:
    with_plugs, said = first_word(tmp_path, plugs=True)
    without, _ = first_word(tmp_path, plugs=False)
    assert 0.0 < with_plugs <= 1.1 < without
    assert (said.facts["source"], said.facts["draws_w"]) == ("west lamp", 0.0)
