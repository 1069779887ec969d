"""A watch that goes on with a record from another board knows its box as if it had been there."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from pathlib import Path
from random import Random

import pytest
from support.one_box import settings_of, started, stopped_clock
from support.rehearsed import placed
from typer.testing import CliRunner

from monitor.commands import build
from monitor.events import Moment
from monitor.journal.forms.lines import entry_line
from monitor.journal.records import Commit
from monitor.journal.resolution import iso
from monitor.journal.store import Journal
from monitor.service.core import Core
from monitor.service.rehearsed_night import SITE_FILE, NightStory, RehearsedNight
from monitor.service.replay import Replay
from monitor.settings import Settings

Said = tuple[float, str, str]
DAY_S = 86400.0


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return settings_of(tmp_path, SITE_FILE.format(timezone="America/Chicago", units="fahrenheit"))


@pytest.fixture
def night(settings: Settings) -> RehearsedNight:
    """Its west lamp dies at two; nobody answers, nobody mends it."""
    story = NightStory(answered=None, mended=None)
    return RehearsedNight(evening=date(2026, 2, 10), zone=settings.site.timezone, story=story)


def the_record(night: RehearsedNight, until: float) -> list[str]:
    return [
        entry_line(placed(night)),
        *(
            f'{{"at":"{iso(round(at * 1000))}","topic":"{topic}","payload":"{payload}"}}\n'
            for at, topic, payload in night.messages()
            if at < until
        ),
    ]


def brought_in(settings: Settings, record: list[str], folder: Path) -> None:
    file = folder / "record.jsonl"
    file.write_text("".join(record), encoding="utf-8")
    words = ["import", str(file), "--config", str(folder / "brooder.toml")]
    done = CliRunner().invoke(build("import"), words)
    assert done.exit_code == 0, done.output


def told(core: Core, said: Iterable[Said]) -> list[tuple[str, str]]:
    """Priority and title of what is told while this is heard."""
    messages = []
    for at, topic, payload in said:
        now = Moment(at, at)
        core.advance(now)
        core.hear(topic, payload.encode(), now)
        messages += core.take(now).messages
    return [(message.priority.value, message.title) for message in messages]


def test_a_moved_watch_goes_on_as_the_old_one_would(
    settings: Settings, night: RehearsedNight, tmp_path: Path
) -> None:
    moved_at = night.at(night.story.starts) + 8.5 * 3600  # half past two: told, not answered
    record = the_record(night, moved_at)
    old = Replay(settings, lambda _: None)
    old.feed(record)
    assert old.core is not None
    brought_in(settings, record, tmp_path)
    new = started(settings, stopped_clock(moved_at)).core
    assert new.waiting.changes == []
    rest = [said for said in night.messages() if moved_at <= said[0] < moved_at + 3600]
    expected = told(old.core, rest)
    assert ("urgent", "porch: dangerously cold (reminder 3)") in expected
    assert told(new, rest) == expected


@pytest.mark.parametrize("whose", ["brought in", "its own"])
def test_what_was_over_long_ago_is_not_asked_for_again(
    settings: Settings, night: RehearsedNight, tmp_path: Path, whose: str
) -> None:
    left_at = night.at(night.story.starts) + 8.5 * 3600
    record = the_record(night, left_at)
    if whose == "brought in":
        brought_in(settings, record, tmp_path)
    else:
        old = Replay(settings, lambda _: None)
        old.feed(record)
        assert old.core is not None
        last = old.core.take(Moment(left_at, left_at)).batch
        last.snapshots = old.core.snapshots()
        with Journal.open(settings.journal_path) as journal:
            journal.commit(last)
    back_at = left_at + 3 * DAY_S
    new = started(settings, stopped_clock(back_at)).core
    dice = Random(1)
    warm = [
        (back_at + second, f"brooder/porch/{name}", f"{temp_c + dice.choice((0, 1, 2)) / 16}")
        for second in range(0, 3600, 30)
        for name, temp_c in (("floor", 34.5), ("far-floor", 34.0), ("under-west", 43.5))
    ]
    urgent = [title for priority, title in told(new, warm) if priority == "urgent"]
    assert urgent == []


def test_what_was_silent_before_the_record_began_is_told_to_nobody(
    settings: Settings, night: RehearsedNight, tmp_path: Path
) -> None:
    """The birds came in the same second as the first readings."""
    began_at = next(iter(night.messages()))[0]
    left_at = began_at + 600.0
    _, *readings = the_record(night, left_at)
    brought_in(
        settings, [entry_line(replace(placed(night), at=began_at - 0.2)), *readings], tmp_path
    )
    old = Commit(snapshots={"engine": {"version": 1}}, advanced_to=Moment(left_at, left_at))
    with Journal.open(settings.journal_path) as journal:
        journal.commit(old)
    core = started(settings, stopped_clock(left_at + 30)).core
    rest = [said for said in night.messages() if left_at + 30 < said[0] < left_at + 3600]
    assert not [title for _, title in told(core, rest) if "readings" in title]


def test_a_state_of_another_form_is_made_good_from_the_record(
    settings: Settings, night: RehearsedNight, tmp_path: Path
) -> None:
    left_at = night.at(night.story.starts) + 8 * 3600
    brought_in(settings, the_record(night, left_at), tmp_path)
    other = Commit(
        snapshots={"engine": {"version": 1}, "plan": {}}, advanced_to=Moment(left_at, left_at)
    )
    with Journal.open(settings.journal_path) as journal:
        journal.commit(other)
    core = started(settings, stopped_clock(left_at + 30)).core
    box = core.status(Moment(left_at + 30, left_at + 30)).brooder("porch")
    assert box is not None
    assert box.batch is not None
    assert box.batch.head_count == 100
    assert box.outlook is not None, "the coming night is known by how the box was"
