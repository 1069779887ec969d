"""A time of day at which something is said once a local day, also on days of 23 and 25 hours, and
after a clock that was wrong. It belongs to wall time: people live by the clock on the wall. Owned
by `morning_call` and `evening_call`."""

from datetime import date, datetime, time, timedelta, tzinfo

from monitor.kept import Kept, part


@part
class DailyTime(Kept):
    """Which local day was told last, and when the next one is due."""

    _last: date | None = None  # the local day that was last told
    _ahead: date | None = None  # the one that was, before the clock showed days before it

    def __init__(self, zone: tzinfo, at: time) -> None:
        self._zone = zone
        self._time = at
        self._known: tuple[date, float] | None = None  # a day and its Unix time

    def begin(self, at: float) -> None:
        """The first day starts with what is left of it: nothing is said for a time that has been.
        A day that lies far ahead was told by a clock that was wrong; or the clock is wrong now, and
        that day is not told twice once it is right."""
        today = self._day_told_by(at)
        if self._last is None or (self._last - today).days > 1:
            self._last, self._ahead = today, self._last

    @property
    def next_at(self) -> float | None:
        """Unix time of the next one; None before the first `begin`."""
        return None if self._last is None else self.moment(self._last + timedelta(days=1))

    def take_due(self, now_at: float) -> date | None:
        """The day that is due by `now_at`. One missed is due late; older ones are left out."""
        day = self._day_told_by(now_at)
        if self._last is None or day <= self._last:
            return None
        self._last = day
        return None if day == self._ahead else day

    def moment(self, day: date) -> float:
        """Unix time of it on that local day. An hour that a spring night skips comes an hour later,
        one that an autumn night has twice counts when it comes first."""
        if self._known is None or self._known[0] != day:  # asked for with every reading
            at = datetime.combine(day, self._time, self._zone).timestamp()
            self._known = (day, at)
        return self._known[1]

    def _day_told_by(self, at: float) -> date:
        """The latest local day on which it has come by `at`."""
        day = datetime.fromtimestamp(at, self._zone).date()
        return day if self.moment(day) <= at else day - timedelta(days=1)
