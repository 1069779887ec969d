"""What the picture on Now holds."""

import asyncio
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from support import nightjournal
from support.fake_api import NIGHT, alarm, batch, brooder, placed, probe, site

from monitor.events import AlarmName, Entry, EntryKind, Priority
from monitor.page.day_picture import DayPicture, day_picture
from monitor.page.day_readings import COLUMN_S, DayFound, DayReadings, Reach
from monitor.page.phrases import Phrases
from monitor.site import Place
from monitor.watch.status import BrooderStatus

HERE = site()
NOW = NIGHT + 120.0


def heard(*spans: tuple[float, float], temp_c: float = 31.8) -> dict[int, Reach]:
    """Columns of a probe that was heard in these spans (hours before NIGHT)."""
    return {
        int((NIGHT + hour * 3600.0) // COLUMN_S) + n: Reach(temp_c - 0.2, temp_c + 0.2)
        for hour, until in spans
        for n in range(int((until - hour) * 12))
    }


def picture(box: BrooderStatus, day: DayFound) -> DayPicture:
    return day_picture(box, HERE.brooders[0], HERE, day, Phrases(HERE, NOW))


def a_day(floor: dict[int, Reach], **more: object) -> DayFound:
    return DayFound({"porch/floor": floor}, [], [], NOW)._replace(**more)


def xs(path: str) -> list[float]:
    return [float(x) for x in re.findall(r"([\d.]+),", path)]


def ys(path: str) -> list[float]:
    return [float(y) for y in re.findall(r",(-?[\d.]+)", path)]


def test_a_silence_stays_open_and_a_short_one_does_not():
    drawn = picture(brooder(), a_day(heard((-20, -12), (-4, 0))))
    assert drawn.floor.count("M") == 2
    short = picture(brooder(), a_day(heard((-20, -12), (-11.8, 0))))
    assert short.floor.count("M") == 1


def test_the_last_day_and_the_night_to_come_share_an_axis():
    drawn = picture(brooder(), a_day(heard((-24, 0))))
    whole_h = 24 + 5  # the course goes on until seven
    assert drawn.now == pytest.approx(100 * 24 / whole_h, abs=0.5)
    assert max(xs(drawn.floor)) <= drawn.now * 10 + 4
    assert (min(xs(drawn.expected)), max(xs(drawn.expected))) == (
        pytest.approx(drawn.now * 10),
        1000,
    )
    assert {label.text for label in drawn.ticks} >= {"06:00", "12:00", "18:00"}


def test_where_nothing_is_worked_out_of_the_night_none_is_drawn():
    drawn = picture(brooder(outlook=None), a_day(heard((-24, 0))))
    assert (drawn.expected, drawn.fan) == ("", "")
    assert drawn.now > 95


def test_the_band_steps_where_the_target_does_and_begins_with_the_birds():
    stepped = brooder(batch=batch(hatched=date(2026, 1, 27)))
    band = picture(stepped, a_day({})).target
    assert len(set(ys(band))) == 2, "midnight lies within the last day"
    young = brooder(batch=batch(started_at=NIGHT - 6 * 3600))
    assert min(xs(picture(young, a_day({})).band)) == pytest.approx(1000 * 18 / 29, abs=12)
    empty = brooder(batch=None, target_c=None, low_c=None, high_c=None, chill_c=None)
    assert picture(empty, a_day({})).band == ""


def test_a_probe_that_is_not_believed_is_left_out_while_another_lies_there():
    two = brooder(probes=(probe("porch/floor", 31.8), probe("porch/far", 60.0, fault="jumps")))
    day = a_day(heard((-2, 0)))
    day.columns["porch/far"] = heard((-2, 0), temp_c=60.0)
    assert ys(picture(two, day).floor) == ys(picture(brooder(), a_day(heard((-2, 0)))).floor)


def test_a_probe_outside_that_is_not_heard_is_not_said_to_be_missing():
    day = a_day(heard((-24, 0)))
    keys = [p.key for p in HERE.all_probes if p.place is Place.OUTSIDE]
    assert keys
    assert picture(brooder(), day).outside_word == "no reading from the probe outside"
    day.columns[keys[0]] = heard((-2, 0), temp_c=4.0)
    assert picture(brooder(), day).outside_word == "outside"
    none = Phrases(replace(HERE, probes=()), NOW)
    drawn = day_picture(brooder(), HERE.brooders[0], none.site, day, none)
    assert drawn.outside_word == "no probe outside"


def test_alarms_and_what_was_written_are_marked():
    going_on = alarm(AlarmName.CHILL, since=NIGHT - 3600)
    advice = alarm(AlarmName.CROWDED, priority=Priority.ADVICE)
    lost = Entry(at=NIGHT - 7200, entry=EntryKind.LOSS, brooder="porch", count=1)
    elsewhere = replace(lost, brooder="shed")
    day = a_day({}, entries=[lost, elsewhere])
    drawn = picture(brooder(alarms=(going_on, advice)), day)
    (bar,) = drawn.bars
    assert bar.urgent
    assert bar.left + bar.wide == pytest.approx(drawn.now, abs=0.5)
    assert [mark.text for mark in drawn.entries] == ["◆"]


def test_it_is_said_in_words_for_who_cannot_see_it():
    drawn = picture(brooder(), a_day(heard((-24, 0))))
    assert drawn.words == (
        "The floor since 02:00 on Monday: lowest 88.9 °F at 02:00 on Monday, "
        "highest 89.6 °F at 02:00 on Monday. "
        "Expected tonight: down to 87.6 °F about 06:00, likely 85.6 to 89.4."
    )


def test_a_minute_does_not_redraw_it_and_a_column_does():
    day, box = a_day(heard((-24, 0))), brooder()
    first = picture(box, day)
    assert day_picture(box, HERE.brooders[0], HERE, day, Phrases(HERE, NOW + 60)) == first
    later = day_picture(box, HERE.brooders[0], HERE, day, Phrases(HERE, NOW + 300))
    assert later != first


def test_readings_are_read_once_and_then_only_what_is_new(tmp_path: Path):
    path = tmp_path / "journal.db"
    nightjournal.write(path, HERE, placed(), start=NIGHT - 86400, stop=NIGHT, every_s=60)
    keys = [one.key for one in HERE.all_probes]

    async def story() -> None:
        readings = DayReadings()
        first = readings.refresh(path, keys, NIGHT)
        assert first is not None
        assert readings.refresh(path, keys, NIGHT) is first, "one at a time"
        await first
        assert readings.day is not None
        before = readings.day.columns
        assert len(before["porch/floor"]) == 288
        assert readings.refresh(path, keys, NIGHT + 30) is None, "not yet due"
        again = readings.refresh(path, keys, NIGHT + 61)
        assert again is not None
        await again
        assert readings.day.columns == before
        gone = readings.refresh(tmp_path / "gone.db", keys, NIGHT + 200)
        assert gone is not None
        await gone
        assert readings.day.columns == before, "a journal that cannot be read takes nothing away"

    asyncio.run(story())
