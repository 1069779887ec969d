"""Killed at any moment and rebuilt from its journal, the watch says what it would have said."""

import random
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path

import pytest
from support.one_box import settings_of
from support.rehearsed import placed
from support.senders import Senders

from monitor.events import Entry, EntryKind, Moment
from monitor.journal.reader import JournalReader
from monitor.journal.records import Entered, Input, WatcherFault
from monitor.journal.store import Journal
from monitor.service.configured import contacts_of, policy_of
from monitor.service.core import Core
from monitor.service.rebuild import rebuild
from monitor.service.rehearsed_night import SITE_FILE, NightStory, RehearsedNight
from monitor.service.startup import DOWN_WORTH_TELLING_S, catch_up
from monitor.settings import Settings
from monitor.tell.message import Message

Step = tuple[float, str, str] | Entry


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    text = SITE_FILE.format(timezone="America/Chicago", units="fahrenheit")
    contact = '\n[[contacts]]\nname = "{}"\nurl = "json://127.0.0.1:9/"\nafter_minutes = {}\n'
    contacts = contact.format("phone", 0) + contact.format("neighbour", 15)
    return settings_of(tmp_path_factory.mktemp("site"), text + contacts)


@pytest.fixture(scope="module")
def steps(settings: Settings) -> list[Step]:
    """A night in which a lamp fails at two and is seen to at twenty to three."""
    night = RehearsedNight(
        evening=date(2026, 2, 10), zone=settings.site.timezone, story=NightStory()
    )
    answered = Entry(
        at=night.at(night.story.answered), entry=EntryKind.ACKNOWLEDGE, brooder="porch", by="me"
    )
    messages: list[Step] = list(night.messages())
    acts: list[Step] = [placed(night), answered]
    return sorted(messages + acts, key=lambda s: s.at if isinstance(s, Entry) else s[0])


def take_in(core: Core, step: Step) -> Moment:
    at = step.at if isinstance(step, Entry) else step[0]
    now = Moment(at, at)
    core.advance(now)
    if isinstance(step, Entry):
        core.enter(step, now)
    else:
        core.hear(step[1], step[2].encode(), now)
    return now


def fresh_core(settings: Settings, journal: Journal, start: Moment) -> Core:
    return Core(
        settings.site,
        start,
        contacts=contacts_of(settings),
        policy=policy_of(settings),
        next_entry_number=journal.next_entry_number,
    )


def run(
    settings: Settings, steps: list[Step], path: Path, kills: set[int], dice: random.Random
) -> tuple[list[str], list[tuple[str, str]]]:
    """What the journal holds at the end: messages by key, changes. `kills` are the steps before
    which the process dies with whatever it had not committed."""
    journal = Journal.open(path)
    journal.know(settings.site.all_probes)
    first = steps[0].at if isinstance(steps[0], Entry) else steps[0][0]
    core = fresh_core(settings, journal, Moment(first, first))
    kept_to, index, snapshot_at = 0, 0, 0
    while index < len(steps):
        if index in kills:
            kills.discard(index)
            journal.close()
            journal = Journal.open(path)
            journal.know(settings.site.all_probes)
            with JournalReader(path) as reader:
                ended = reader.advanced_to()
                now = Moment(first, first) if ended is None else ended
                core = rebuild(partial(fresh_core, settings, journal), reader, now).core
            index = kept_to  # the broker delivers again what was never acknowledged
            continue
        now = take_in(core, steps[index])
        index += 1
        if dice.random() < 0.05 or index == len(steps):
            if core.snapshot_wanted or index - snapshot_at > 400:
                core.waiting.snapshots = core.snapshots()
                core.snapshot_wanted, snapshot_at = False, index
            journal.commit(core.take(now).batch)
            kept_to = index
    journal.close()
    with JournalReader(path) as reader:
        with reader.transaction() as connection:
            messages = sorted(key for (key,) in connection.execute("SELECT key FROM outbox"))
        changes = [(c.occurrence, c.change.value) for c in reader.changes()]
    return messages, changes


def test_forty_kills_in_a_night_change_nothing_that_is_told(
    settings: Settings, steps: list[Step], tmp_path: Path
) -> None:
    whole = run(settings, steps, tmp_path / "whole.db", set(), random.Random(1))
    dice = random.Random(2)
    kills = {dice.randrange(1, len(steps)) for _ in range(40)}
    cut = run(settings, steps, tmp_path / "cut.db", kills, random.Random(3))
    assert not kills, "a kill was never reached"
    assert len(whole[0]) >= 3, "the night told something"
    passed_on = [occurrence for occurrence, change in whole[1] if change == "escalated"]
    assert len(passed_on) == 1, "after a quarter of an hour without an answer, to the neighbour"
    assert cut == whole


def test_a_gap_worth_telling_is_longer_than_a_restart() -> None:
    assert 10.0 < DOWN_WORTH_TELLING_S <= 120.0


@pytest.mark.parametrize("seed", [2, 7, 13])
def test_nor_where_probes_send_late_in_packs_or_by_a_clock_that_is_behind(
    settings: Settings, tmp_path: Path, seed: int
) -> None:
    """What a late word did hung on what had been due since: a rebuild did that afterwards. Nor is a
    clock learnt later for it."""
    night = Senders(seed, hours=5.0)
    site = replace(settings, site=night.site)
    steps: list[Step] = [s if isinstance(s, Entry) else tuple(s) for s in night.steps]
    whole = run(site, steps, tmp_path / "whole.db", set(), random.Random(1))
    dice = random.Random(seed)
    kills = {dice.randrange(1, len(steps)) for _ in range(16)}
    cut = run(site, steps, tmp_path / "cut.db", kills, random.Random(3))
    assert len(whole[0]) >= 3, "the night told something"
    assert cut == whole


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_watch_that_was_away_says_what_one_says_that_was_told_of_the_gaps(
    settings: Settings, steps: list[Step], tmp_path: Path, seed: int
) -> None:
    """Restarts of seconds and of up to half an hour, clean ones and kills: of the same readings and
    gaps a watch that was never stopped tells the same, word by word."""
    dice, path = random.Random(seed), tmp_path / "away.db"
    back_at = start = steps[0].at if isinstance(steps[0], Entry) else steps[0][0]
    journal = Journal.open(path)
    journal.know(settings.site.all_probes)
    core = fresh_core(settings, journal, Moment(start, start))
    stops = sorted(dice.sample(range(200, len(steps) - 200), 8))
    inputs: list[Input] = []
    said: list[Message] = []
    for index, step in enumerate(steps):
        if (step.at if isinstance(step, Entry) else step[0]) < back_at:
            continue  # nobody watches
        now = take_in(core, step)
        stopped = bool(stops) and index >= stops[0]
        if dice.random() < 0.02 or (stopped and dice.random() < 0.5):
            core.waiting.snapshots = core.snapshots()
        taken = core.take(now)
        inputs += taken.batch.inputs
        said += taken.messages
        journal.commit(taken.batch)
        if stopped:
            stops.pop(0)
            ended, back_at = now, now.at + dice.choice((5.0, 90.0, 1800.0))
            now = Moment(back_at, back_at)
            journal.close()
            journal = Journal.open(path)
            journal.know(settings.site.all_probes)
            with JournalReader(path) as reader:
                core = rebuild(partial(fresh_core, settings, journal), reader, now).core
            catch_up(core, ended, now, on_for_s=1e6)
            core.fit_configuration(now)
    whole = fresh_core(settings, journal, Moment(start, start))
    for item in inputs:
        if not isinstance(item, WatcherFault):
            tick = item.now.tick if isinstance(item, Entered) else item.tick
            whole.advance(whole.engine.now.at_tick(tick))
        whole.take_in(item)
    whole.advance(now)
    journal.close()
    assert any("nobody watched" in message.title for message in said)
    assert whole.take(now).messages == said
