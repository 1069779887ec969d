"""The board's clock jumps hours either way, is wrong at boot, or goes through a change of summer
time: alarms come when they are due, and people are told what the clock did."""

import time
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from support.birds import chicks_in
from support.one_box import started
from support.patience import LEAST_S
from support.service import wait_until
from support.watch_rig import TOPIC, Rig, changes, place, running, site_of

from monitor.events import AlarmName, Moment
from monitor.journal.reader import JournalReader
from monitor.service.clock import JUMP_S
from monitor.settings import load_settings
from monitor.tell.message import Message, MessageKind

pytestmark = pytest.mark.faults


class SetClock:
    """The machine's clock, which somebody sets."""

    speed = 1.0

    def __init__(self, wall: float, *, on_for_s: float = 1e6, ahead_s: float = 0.0) -> None:
        """`ahead_s`: as LiveClock is with `not_before`, steady time goes on where the records
        end."""
        self._base = wall + ahead_s - time.monotonic()
        self._on_for_s = on_for_s
        self._set_by = -ahead_s
        self._seen = -ahead_s

    def set_by(self, jump_s: float) -> None:
        self._set_by += jump_s

    def now(self) -> Moment:
        tick = round(time.monotonic() + self._base, 3)
        return Moment(round(tick + self._seen, 3), tick)

    def jump_s(self) -> float:
        jump = self._set_by - self._seen
        self._seen = self._set_by
        return jump if abs(jump) >= JUMP_S else 0.0

    def running_s(self) -> float:
        return self._on_for_s


@pytest.mark.parametrize("hours", [-5.0, -1.0, 1.0, 5.0, 24 * 40.0])
def test_a_jump_neither_hides_nor_makes_an_alarm(tmp_path: Path, hours: float) -> None:
    clock = SetClock(time.time())
    with running(Rig(tmp_path, site_of(tmp_path), clock)) as rig:
        place(rig)
        for n in range(5):
            rig.say(f"35.{n:02}")
        wait_until(lambda: len(rig.far.acknowledged) == 5)
        clock.set_by(hours * 3600)
        wait_until(lambda: any(c.alarm is AlarmName.CLOCK_FAULT for c in changes(rig)), 20)
        for n in range(5):
            rig.say(f"35.1{n}")
            time.sleep(0.1)
        wait_until(lambda: len(rig.far.acknowledged) == 10)
        names = {c.alarm for c in changes(rig)}
        assert AlarmName.NO_READINGS not in names, "a jump is no silence"
        assert AlarmName.CHILL not in names
        numbers = count()

        def cold() -> bool:
            rig.say(f"10.{next(numbers):04}")
            return any(c.alarm is AlarmName.CHILL for c in changes(rig))

        wait_until(cold, 20, "the alarm, which is still on time")


@pytest.mark.parametrize("on_for_s", [40.0, 1e6], ids=["just started", "long on"])
def test_a_clock_set_forward_right_after_the_start_says_how_long_the_power_was_out(
    tmp_path: Path, on_for_s: float
) -> None:
    """A board without a battery for its clock begins where it, or its records, had ended."""
    clock = SetClock(time.time(), on_for_s=on_for_s)
    with running(Rig(tmp_path, site_of(tmp_path), clock)) as rig:
        place(rig)
        clock.set_by(3 * 3600)

        def raised() -> list[Message]:  # the jump may also pass the hour of the evening's message
            return [told for _, told in rig.heard.messages if told.kind is MessageKind.RAISED]

        wait_until(raised, 20, "the word of it")
        [told] = raised()
        assert told.title.endswith(
            "nobody watched for 3 h" if on_for_s < 3600 else "the board's clock was set"
        )


def test_a_jump_does_not_upset_a_rebuild(tmp_path: Path) -> None:
    """What was raised before and after a jump is what a restart finds, no more."""
    clock = SetClock(time.time())
    site = site_of(tmp_path)
    with running(Rig(tmp_path, site, clock)) as rig:
        place(rig)
        for jump in (3600.0, -7200.0, 1800.0):
            clock.set_by(jump)
            for n in range(8):
                rig.say(f"21.{n:02}")
                time.sleep(0.1)
        wait_until(lambda: len(rig.far.acknowledged) == 24)
        before = rig.calls.call(rig.core.status).result(LEAST_S)  # by the thread that watches
        open_before = {(a.alarm, a.occurrence) for a in before.all_alarms if a.active}
    opened = started(load_settings(tmp_path / "brooder.toml", {}, check_contacts=False), clock)
    after = opened.core.status(clock.now())
    floor = {AlarmName.COLD, AlarmName.CHILL, AlarmName.HEAT_LOSS}
    assert {a for a in open_before if a[0] in floor} == {
        (a.alarm, a.occurrence) for a in after.all_alarms if a.active and a.alarm in floor
    }
    assert any(a[0] is AlarmName.CHILL for a in open_before)


def test_a_board_that_boots_with_yesterdays_time_is_not_deaf(tmp_path: Path) -> None:
    """Without a battery clock the time at boot is hours behind the records. Delays still run from
    now, and the clock is said to be wrong."""
    site = site_of(tmp_path)
    with running(Rig(tmp_path, site)) as rig:
        place(rig)
        rig.say("35.0")
        wait_until(lambda: rig.far.acknowledged == [1])
    clock = SetClock(time.time() - 6 * 3600, on_for_s=40.0, ahead_s=6 * 3600)
    opened = started(load_settings(tmp_path / "brooder.toml", {}, check_contacts=False), clock)
    assert not opened.clock_sure
    core = opened.core
    begun = clock.now()
    for n in range(10):
        moment = Moment(begun.at + n * 0.2, begun.tick + n * 0.2)
        core.hear(TOPIC, f"21.{n:02}".encode(), moment, clock_sure=False)
    core.advance(Moment(begun.at + 3, begun.tick + 3))
    raised = {c.alarm for c in core.waiting.changes if c.change.value == "raised"}
    assert AlarmName.CLOCK_FAULT in raised
    assert AlarmName.CHILL in raised, "two seconds after boot, not six hours"


def test_birds_keep_their_target_when_the_board_boots_a_week_behind(tmp_path: Path) -> None:
    """At thirty days they need 23.9 degC; a week younger they would be given 26.7."""
    site = site_of(tmp_path)
    now = time.time()
    with running(Rig(tmp_path, site)) as rig:
        placed = chicks_in(
            now - 30 * 86400,
            count=50,
            hatched=time.strftime("%Y-%m-%d", time.gmtime(now - 30 * 86400)),
        )
        rig.calls.call(lambda at: rig.core.enter(placed, at)).result(LEAST_S)
        rig.say("24.0")
        wait_until(lambda: rig.far.acknowledged == [1])
    clock = SetClock(now - 7 * 86400, on_for_s=40.0, ahead_s=7 * 86400)
    opened = started(load_settings(tmp_path / "brooder.toml", {}, check_contacts=False), clock)
    assert not opened.clock_sure
    box = opened.core.status(clock.now()).brooder("porch")
    assert box is not None
    assert box.batch is not None
    assert box.target_c == pytest.approx(23.9, abs=0.1)
    assert box.batch.age_days >= 29


@pytest.mark.parametrize(
    ("from_utc", "night"),
    [("2026-03-08T06:30", "spring"), ("2026-11-01T05:30", "autumn")],
    ids=["an hour that is not there", "an hour that comes twice"],
)
def test_a_change_of_summer_time_raises_and_loses_nothing(
    tmp_path: Path, from_utc: str, night: str
) -> None:
    """Four hours through the change in Chicago, a reading a minute, all well: no alarm. Then a
    cold floor: one, after its delay."""
    zone = ZoneInfo("America/Chicago")
    start = datetime.fromisoformat(from_utc).replace(tzinfo=UTC).timestamp()
    more = '[site]\ntimezone = "America/Chicago"\n'
    settings_site = site_of(tmp_path, more)
    rig = Rig(tmp_path, settings_site, SetClock(start))
    core = rig.core
    hatched = datetime.fromtimestamp(start - 86400, zone).date().isoformat()
    core.enter(chicks_in(start, count=50, hatched=hatched), Moment(start, start))
    for minute in range(1, 241):
        now = Moment(start + minute * 60, start + minute * 60)
        core.advance(now)
        core.hear(TOPIC, f"{35 + minute % 7 / 8}".encode(), now)
    urgent = [c for c in core.waiting.changes if c.priority.value != "advice"]
    assert not urgent, night
    for second in range(0, 30, 10):
        now = Moment(start + 14460 + second, start + 14460 + second)
        core.advance(now)
        core.hear(TOPIC, b"21.0", now)
    assert [c.alarm for c in core.waiting.changes if c.alarm is AlarmName.CHILL]
    rig.journal.close()


def test_the_record_keeps_both_halves_of_an_hour_that_comes_twice(tmp_path: Path) -> None:
    """Time is kept in UTC: nothing is overwritten."""
    clock = SetClock(time.time())
    with running(Rig(tmp_path, site_of(tmp_path), clock)) as rig:
        rig.say("30.0")
        wait_until(lambda: rig.far.acknowledged == [1])
        clock.set_by(-3600.0)
        wait_until(lambda: any(c.alarm is AlarmName.CLOCK_FAULT for c in changes(rig)), 20)
        rig.say("31.0")
        wait_until(lambda: rig.far.acknowledged == [1, 2])
        with JournalReader(rig.path) as reader:
            assert sorted(reader.readings_plain("porch/floor", 0, 4e9)[1]) == [30.0, 31.0]
