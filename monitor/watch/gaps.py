"""How long one probe usually is between two readings, and how long a gap is still believable. Held
by watch.probe_watch.

Where each reading is lost with the same chance, a gap of the mean and twelve standard deviations
comes once in some ten thousands: of a probe that sends every two to five minutes, and of which a
tenth or a fifth is lost, once in a month or more. After eight it came every fifth night."""

from math import sqrt

from monitor.kept import Kept, part

_OF_THEM = 50  # what lies further back is forgotten
# An outage is no habit: it counts as a gap by so much longer, and by less where gaps spread.
_OUTAGE_S, _OUTAGE_SPREADS_S = 900.0, 600.0
_MISSED, _SPREADS = 3.5, 12.0
# Where all that is known is for how long it kept what it sent first: a store may go back for days.
_PACKS, _PACK_S = 2.0, 3600.0


@part
class Gaps(Kept):
    """Of one probe; of a quick sender, some of them."""

    mean_s: float = 0.0
    kept_s: float = 0.0  # the sender held words back for so long before its first gap
    _variance: float = 0.0
    _count: int = 0

    def add(self, gap_s: float) -> None:
        """Takes one more gap."""
        self._count = min(self._count + 1, _OF_THEM)
        before_s = self.mean_s if self._count > 1 else self.kept_s
        off_s = min(gap_s - before_s, _OUTAGE_S + before_s)
        self.mean_s = before_s + off_s / self._count
        off_s = min(off_s, _OUTAGE_SPREADS_S + before_s)
        self._variance += (off_s * off_s * (1 - 1 / self._count) - self._variance) / self._count

    def came(self, age_s: float) -> None:
        """A word of so long ago: of a sender of packs that is all that tells of it at first."""
        if not self._count:
            self.kept_s = max(self.kept_s, min(age_s, _PACK_S))

    @property
    def often_s(self) -> float:
        """Of six or so, one is longer than this."""
        return self.mean_s + sqrt(self._variance)

    @property
    def believable_s(self) -> float:
        """No longer than so: it has missed three, and by its own gaps that is a rare one."""
        if not self._count:
            return _PACKS * self.kept_s
        return max(_MISSED * self.mean_s, self.mean_s + _SPREADS * sqrt(self._variance))
