"""The evening before the target steps down: message, alarm, page and what is written for later all
judge each hour of the night by its own target."""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from math import cos, pi
from pathlib import Path
from random import Random
from typing import Any

from support.one_box import settings_of

from monitor.events import AlarmName, Moment
from monitor.page.now import view
from monitor.page.phrases import Phrases
from monitor.service.core import CoreOutput
from monitor.service.replay import Replay
from monitor.settings import Settings
from monitor.tell.message import Message, MessageKind

HATCHED = date(2026, 2, 8)
STEP = 7 * 24.0  # hours since the midnight of the hatch day: from 35.0 to 32.2 degC
EVENING = STEP - 4.0  # the message comes at eight
BOX = """
[site]
name = "Hillside"
timezone = "America/Chicago"
units = "celsius"
[[site.probes]]
name = "shade"
topic = "out"
place = "outside"
[[brooders]]
name = "porch"
length_m = 1.5
width_m = 1.5
height_m = 0.6
cover = "plywood"
  [[brooders.probes]]
  name = "floor"
  topic = "floor"
  place = "floor"
  [[brooders.heat]]
  name = "west lamp"
  kind = "lamp"
  watts = 250
  [[brooders.heat]]
  name = "east lamp"
  kind = "lamp"
  watts = 250
[[contacts]]
name = "phone"
url = "json://127.0.0.1:9/x"
"""


def air_c(hour: float, coldest_h: float) -> float:
    """Over a day and a night."""
    return 6.0 - 5.0 * cos(2.0 * pi * (hour - coldest_h) / 24.0)


def lines(settings: Settings, evening_c: float, coldest_h: float) -> Iterator[str]:
    """Two days of a floor that goes with the air by two fifths. From the last afternoon on it is
    `evening_c` at eight; the night before it is well over the edge of its band."""
    midnight = datetime.combine(HATCHED, datetime.min.time(), settings.site.timezone).timestamp()

    def iso(hour: float) -> str:
        at = datetime.fromtimestamp(midnight + hour * 3600.0, settings.site.timezone)
        return (at + timedelta(microseconds=500)).isoformat(timespec="milliseconds")

    placed = {"entry": "placed", "brooder": "porch", "count": 100, "kind": "broiler"}
    begins = STEP - 34.0
    yield json.dumps({"at": iso(begins), **placed, "hatched": HATCHED.isoformat()})
    rng = Random(1)
    for minute in range(1, int((STEP + 7.0 - begins) * 60)):
        hour = begins + minute / 60.0
        at_eight_c = evening_c if hour > STEP - 8.0 else 36.5
        out_c = air_c(hour, coldest_h)
        cooler_k = 0.4 * (air_c(EVENING, coldest_h) - out_c)
        floor_c = at_eight_c - cooler_k + rng.gauss(0.0, 0.05)
        for topic, temp_c in (("floor", floor_c), ("out", out_c)):
            yield json.dumps({"at": iso(hour), "topic": topic, "payload": f"{temp_c:.2f}"})


@dataclass
class Told:
    """What one such night told."""

    settings: Settings
    messages: list[Message] = field(default_factory=list)
    alarms: list[tuple[float, AlarmName]] = field(default_factory=list)
    foretold: list[dict[str, Any]] = field(default_factory=list)
    page: list[str] = field(default_factory=list)  # of tonight, as the evening message comes
    stands: list[bool | None] = field(default_factory=list)  # a cold night, as told; afterwards

    def hour(self, at: float) -> float:
        """Since the step."""
        zone = self.settings.site.timezone
        step = datetime.combine(HATCHED + timedelta(days=7), datetime.min.time(), zone)
        return (at - step.timestamp()) / 3600.0

    def chance_at(self, hour: float) -> float:
        """What was foretold then."""
        [found] = [
            row["chance"]
            for row in self.foretold
            if abs(self.hour(datetime.fromisoformat(row["at"]).timestamp()) - hour) < 0.2
        ]
        return float(found)

    @property
    def evening(self) -> Message:
        return [m for m in self.messages if m.kind is MessageKind.EVENING][-1]

    def came(self, alarm: AlarmName) -> list[float]:
        """When it was raised in the last night, in hours since the step."""
        return [self.hour(at) for at, name in self.alarms if name is alarm and self.hour(at) > -7.0]


def night(folder: Path, evening_c: float, *, coldest_h: float) -> Told:
    settings = settings_of(folder, BOX)
    told = Told(settings)

    def happened(output: CoreOutput) -> None:
        told.messages += output.messages
        told.alarms += [(c.at, c.alarm) for c in output.batch.changes if c.change.value == "raised"]

    def foretold(row: dict[str, Any]) -> None:
        told.foretold.append(row)
        at = datetime.fromisoformat(row["at"]).timestamp()
        if told.hour(at) == -4.0 and run.core is not None:
            shown = view(run.core.status(Moment(at, at)), settings.site, Phrases(settings.site, at))
            told.page = list(shown.boxes[0].tonight)
        if told.hour(at) == -3.5 and run.core is not None:
            alarms = run.core.status(Moment(at, at)).all_alarms
            told.stands = [a.told for a in alarms if a.alarm is AlarmName.COLD_NIGHT]

    run = Replay(settings, happened, foretold)
    run.feed(lines(settings, evening_c, coldest_h))
    return told


def test_a_floor_that_leaves_todays_band_before_midnight_is_told_in_the_evening(
    tmp_path: Path,
) -> None:
    """It is too cold from ten to midnight; what is left at dawn is right for the new target."""
    told = night(tmp_path, evening_c=33.0, coldest_h=3.0)
    [cold_at, *_] = told.came(AlarmName.COLD)
    assert -3.0 < cold_at < 0.0, "the case in question"
    assert told.came(AlarmName.COLD_NIGHT)[0] < -4.0
    assert told.chance_at(-4.0) > 0.5
    assert told.evening.title == "porch: cold night ahead"
    assert "should be 32.2 °C" in told.evening.body, "by when it is coldest"
    assert "will probably not hold" in told.page[0]
    assert told.stands == [True], "the page goes by what was told"


def test_what_is_right_for_the_new_target_after_midnight_is_no_cold_night(tmp_path: Path) -> None:
    """Under today's band from two on; today is over by then."""
    told = night(tmp_path, evening_c=35.2, coldest_h=6.0)
    lowest_c = min(row["temp"] for row in told.foretold)
    assert 29.4 < lowest_c < 32.2 + 0.5, "the case in question"
    assert told.came(AlarmName.COLD) == told.came(AlarmName.COLD_NIGHT) == []
    assert told.chance_at(-4.0) < 0.2
    assert "cold night" not in told.evening.title
    assert told.page[0].startswith("It should hold")
