"""How a box stands, judged once from one snapshot. Whatever a screen says of a box (stamp, trend,
headline, instruction, an alarm's title) is said from this, so that no two words on it can disagree.
Pure; called by `now` and `screen_alarm`."""

from dataclasses import dataclass
from enum import StrEnum

from monitor.events import AlarmName
from monitor.tell.wording.words import STEADY_C_PER_H
from monitor.watch.alarm_table import OF_HEAT, TOO_COLD
from monitor.watch.status import AlarmStatus, BrooderStatus

NEAR_MIN = 180.0  # a fall that takes longer to the chill limit is an evening. Common practice.
_JUST_BACK_S = 120.0


class Side(StrEnum):
    """Of its band the floor is on."""

    CHILLED = "chilled"  # at the chill limit or below it
    COLD = "cold"
    RIGHT = "right"
    HOT = "hot"
    BURNING = "burning"  # at the overheat limit or above it
    UNKNOWN = "unknown"  # no reading to believe
    EMPTY = "empty"  # no chicks, so nothing to hold it against
    OUT = "out"  # of use


class Motion(StrEnum):
    """Which way the floor goes."""

    FALLING = "falling"
    STEADY = "steady"
    RISING = "rising"
    UNKNOWN = "unknown"


class MarginMark(StrEnum):
    """The shape in the margin; it has a word beside it, so nothing hangs on shape or colour."""

    RIGHT = "right"
    FALLING = "falling"
    MISSING = "missing"
    COLD = "cold"
    HOT = "hot"
    DANGER_COLD = "danger-cold"
    DANGER_HOT = "danger-hot"
    UNKNOWN = "unknown"
    EMPTY = "empty"


_MARKS = {
    Side.CHILLED: (MarginMark.DANGER_COLD, "Dangerously cold"),
    Side.COLD: (MarginMark.COLD, "Too cold"),
    Side.HOT: (MarginMark.HOT, "Too hot"),
    Side.BURNING: (MarginMark.DANGER_HOT, "Dangerously hot"),
    Side.UNKNOWN: (MarginMark.UNKNOWN, "Not known"),
    Side.EMPTY: (MarginMark.EMPTY, "No chicks entered"),
    Side.OUT: (MarginMark.EMPTY, "Out of use"),
}
# Worst first, on a screen of several boxes.
_ORDER = (
    MarginMark.DANGER_HOT,
    MarginMark.DANGER_COLD,
    MarginMark.COLD,
    MarginMark.HOT,
    MarginMark.FALLING,
    MarginMark.MISSING,
    MarginMark.UNKNOWN,
    MarginMark.RIGHT,
    MarginMark.EMPTY,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    side: Side
    motion: Motion
    heat_missing: bool  # a source has stopped or the cover is off, and it is not over yet
    near: bool  # it falls, and the chill limit is not far
    both: bool  # one probe is below the band and another above it

    @property
    def is_cold(self) -> bool:
        return self.side in (Side.COLD, Side.CHILLED)

    @property
    def is_hot(self) -> bool:
        return self.side in (Side.HOT, Side.BURNING)

    @property
    def mark(self) -> MarginMark:
        return self._mark_and_word()[0]

    @property
    def word(self) -> str:
        return self._mark_and_word()[1]

    @property
    def cools(self) -> bool:
        """It is cold or on its way there, or heat is missing: somebody may hang a lamp."""
        return self.mark in (
            MarginMark.FALLING,
            MarginMark.MISSING,
            MarginMark.COLD,
            MarginMark.DANGER_COLD,
        )

    @property
    def rank(self) -> int:
        return _ORDER.index(self.mark)

    def _mark_and_word(self) -> tuple[MarginMark, str]:
        if self.side is not Side.RIGHT:
            return _MARKS[self.side]
        if self.motion is Motion.FALLING and (self.near or self.heat_missing):
            return MarginMark.FALLING, "Falling"
        return (
            (MarginMark.MISSING, "Heat missing")
            if self.heat_missing
            else (MarginMark.RIGHT, "Right")
        )

    def bears_out(self, alarm: AlarmStatus) -> bool:
        """Is what an active alarm of temperature was raised for still so? It ends only after a
        while, and may be held where nothing can be judged."""
        match alarm.alarm:
            case name if self.both and name in (*TOO_COLD, *OF_HEAT):
                return True
            case name if name in TOO_COLD:
                return self.is_cold
            case AlarmName.HEAT_LOSS:
                return self.is_cold or self.motion is not Motion.RISING
            case AlarmName.OVERHEAT:  # told early, too, of a floor that heats up fast
                return self.is_hot or (self.side is Side.RIGHT and self.motion is Motion.RISING)
            case AlarmName.HOT:
                return self.is_hot
        return True


def judge(box: BrooderStatus) -> Judgement:
    side = _side(box)
    rate = box.trend_c_per_h
    motion = Motion.UNKNOWN
    if rate is not None and side not in (Side.UNKNOWN, Side.OUT):
        motion = Motion.STEADY
        if abs(rate) >= STEADY_C_PER_H:
            motion = Motion.FALLING if rate < 0 else Motion.RISING
        if motion is Motion.FALLING and _just_back(box):
            motion = Motion.UNKNOWN
    left = box.minutes_to_chill
    return Judgement(
        side=side,
        motion=motion,
        heat_missing=any(a.alarm is AlarmName.HEAT_LOSS and a.active for a in box.alarms),
        near=motion is Motion.FALLING and left is not None and left.mid <= NEAR_MIN,
        both=_both(box),
    )


def _both(box: BrooderStatus) -> bool:
    if box.coldest_c is None or box.hottest_c is None or box.low_c is None or box.high_c is None:
        return False
    return box.coldest_c < box.low_c and box.hottest_c > box.high_c


def _just_back(box: BrooderStatus) -> bool:
    """Has it come into its band in these minutes? Its rate is that of the minutes before, too."""
    since, at = box.in_band_since, box.temp_at
    return since is not None and at is not None and at - since < _JUST_BACK_S


def _side(box: BrooderStatus) -> Side:
    temp_c = box.temp_c
    if box.out_of_service:
        return Side.OUT
    if temp_c is not None and temp_c >= box.overheat_c:
        return Side.BURNING  # chicks or none: a fallen lamp burns an empty box as well
    if box.batch is None or box.target_c is None:
        return Side.EMPTY
    if temp_c is None or box.low_c is None or box.high_c is None or box.in_band is None:
        return Side.UNKNOWN
    if temp_c < box.low_c:
        return Side.CHILLED if box.chill_c is not None and temp_c <= box.chill_c else Side.COLD
    return Side.HOT if temp_c > box.high_c else Side.RIGHT
