"""An invented cold night on an invented site, for `brooder rehearse`. Pure: no socket, no clock.

One box on a porch, three days after the hatch: two lamps and a plate hold the floor while the air
outside falls to 6 degC. At two in the morning the west lamp burns out. The box is modelled as one
heat store (first-order cooling) with a fast radiant spot under each lamp; its figures are rounded
from what `brooding.heat_balance.prior` says of such a box, and stand for no real one."""

import math
import random
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

SITE_FILE = """\
# The rehearsal's invented site.
[site]
name = "Hillside (rehearsal)"
timezone = "{timezone}"
units = "{units}"

[[site.probes]]
name = "shade"
topic = "brooder/outside"
place = "outside"

[[brooders]]
name = "porch"
length_m = 1.5
width_m = 1.5
height_m = 0.56
walls = "plywood"
cover = "plywood"

  [[brooders.probes]]
  name = "floor"
  topic = "brooder/porch/floor"
  place = "floor"

  [[brooders.probes]]
  name = "far floor"
  topic = "brooder/porch/far-floor"
  place = "floor"

  [[brooders.probes]]
  name = "under west lamp"
  topic = "brooder/porch/under-west"
  place = "under-heat"

  [[brooders.heat]]
  name = "west lamp"
  kind = "lamp"
  watts = 250

  [[brooders.heat]]
  name = "east lamp"
  kind = "lamp"
  watts = 250

  [[brooders.heat]]
  name = "plate"
  kind = "plate"
  watts = 100
"""

PLUG = "plugs/"


def site_file(timezone: str, units: str, *, plugs: bool) -> str:
    """The rehearsal's configuration."""
    text = SITE_FILE.format(timezone=timezone, units=units)
    if plugs:
        text = _SOURCE.sub(rf'\g<0>\n  topic = "{PLUG}\1"', text)
    return text


_SOURCE = re.compile(r'(?<=\[\[brooders.heat\]\]\n)  name = "(.*)"')
TIME_CONSTANT_S = 34 * 60.0
RISE_WEST_K, RISE_EAST_K, RISE_REST_K = 11.5, 11.5, 5.5  # above the porch's air; rest: plate, birds
SPOT_K, SPOT_TIME_CONSTANT_S = 9.0, 120.0  # what a lamp adds right beneath it
EVERY_S = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class NightStory:
    """When what happens; None: it does not. Local times of day of the night."""

    lamp_fails: time | None = time(2, 0)
    answered: time | None = time(2, 40)
    mended: time | None = time(2, 50)
    losses_found: time | None = time(6, 30)
    starts: time = time(18, 0)
    ends: time = time(8, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class RehearsedNight:
    """A story on a date. All times that come out are Unix seconds."""

    evening: date
    zone: ZoneInfo
    story: NightStory
    plugs: bool = False  # does each source hang on one that measures its watts?
    seed: int = 1

    def at(self, of_day: time) -> float:
        """A time of day of this night: before noon is the morning after."""
        day = self.evening + timedelta(days=1) if of_day < time(12) else self.evening
        return datetime.combine(day, of_day, self.zone).timestamp()

    @property
    def hatched(self) -> date:
        """The chicks came by mail at two days of age, the day before."""
        return self.evening - timedelta(days=3)

    def messages(self) -> Iterator[tuple[float, str, str]]:
        """What the probes publish, in time order: time, topic, payload in degC."""
        dice = random.Random(self.seed)  # noqa: S311 - weather, not a secret
        at, end = self.at(self.story.starts), self.at(self.story.ends)
        floor = self._outside(at) + RISE_WEST_K + RISE_EAST_K + RISE_REST_K
        spot = SPOT_K
        wander = 0.0
        while at < end:
            west = 1.0 if self._west_burns(at) else 0.0
            outside = self._outside(at)
            goal = outside + RISE_EAST_K + RISE_REST_K + RISE_WEST_K * west
            floor += (goal - floor) * -math.expm1(-EVERY_S / TIME_CONSTANT_S)
            spot += (SPOT_K * west - spot) * -math.expm1(-EVERY_S / SPOT_TIME_CONSTANT_S)
            wander += -wander * EVERY_S / 600 + dice.gauss(0, 0.03)
            for delay, topic, temp_c in (
                (0.0, "brooder/outside", outside + dice.gauss(0, 0.05)),
                (1.0, "brooder/porch/floor", floor + wander + dice.gauss(0, 0.04)),
                (2.0, "brooder/porch/far-floor", floor - 0.6 + wander + dice.gauss(0, 0.04)),
                (3.0, "brooder/porch/under-west", floor + spot + dice.gauss(0, 0.06)),
            ):
                # A common digital thermometer's step is 1/16 degC.
                yield at + delay, topic, f"{round(temp_c * 16) / 16:.4f}"
            for delay, source, watts in (
                (4.0, "west lamp", 246.0 * west),
                (5.0, "east lamp", 244.0),
                (6.0, "plate", 98.0),
            ):
                if self.plugs:
                    yield at + delay, f"{PLUG}{source}", f"{watts * dice.gauss(1, 0.005):.1f}"
            at += EVERY_S

    def _west_burns(self, at: float) -> bool:
        fails, mended = self.story.lamp_fails, self.story.mended
        if fails is None or at < self.at(fails):
            return True
        return mended is not None and at >= self.at(mended)

    def _outside(self, at: float) -> float:
        """Falls from 7.2 degC in the evening to 6 at six in the morning, then turns."""
        hours = (at - self.at(time(18))) / 3600
        return 6.6 + 0.6 * math.cos(math.pi * hours / 12)
