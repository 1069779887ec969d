"""An estimate that says of the night what it is told to say: for tests of what is made of it."""

from dataclasses import replace
from typing import NamedTuple

from support.no_estimate import NoEstimate

from monitor.brooding.heat_balance import BoxChange
from monitor.events import Moment
from monitor.thermal.coming_night import CLEAR_CHANCE, LowAt
from monitor.thermal.diagnosis import Interval, Outlook
from monitor.thermal.outside_curve import Skies, from_low

H = 3600.0


class Foretold(NoEstimate):
    """Says of the night what it is told to say."""

    chance = 0.0
    lowest_in_s: float | None = None  # None: two hours before the end

    def skies(self, now: Moment, until_at: float) -> Skies | None:
        return (replace(from_low(now, 8.0, -2.0, until_at), source="the test"),)

    def coming_night(
        self, start: Moment, outside: Skies, until_at: float, *, low_at: LowAt
    ) -> "ForetoldNight":
        lowest_at = until_at - 2 * H
        if self.lowest_in_s is not None:
            lowest_at = start.at + self.lowest_in_s
        return ForetoldNight(self.chance, until_at, lowest_at)


class ForetoldNight(NamedTuple):
    told: float
    until_at: float
    lowest_at: float

    def chance(self, _change: BoxChange) -> float:
        return self.told

    def outlook(self, _change: BoxChange) -> Outlook:
        return Outlook(
            lowest_c=Interval(30.0, 29.0, 31.0),
            lowest_at=self.lowest_at,
            leaves_band_at=self.until_at - 3 * H if self.told > 0.5 else None,
            chance=self.told,
            missing_watts=80.0 if self.told >= CLEAR_CHANCE else 0.0,
            outside_low_c=-2.0,
            outside_from="the test",
            learned=0.8,
            mend=("a second layer over the cover",),
        )
