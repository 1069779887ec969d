"""How long one probe usually is between two readings, and how long a gap is still believable. Held
by watch.probe_watch.

Where each reading is lost with the same chance, whatever that is, a gap of the mean and eight
standard deviations comes once in some thousands: once in a month or two of a probe that sends every
ten minutes."""

from math import sqrt

from monitor.kept import Kept, part

_OF_THEM = 50  # what lies further back is forgotten
_OUTAGE_S = 900.0  # an outage is no habit: it counts as a gap by so much longer
_MISSED, _SPREADS = 3.5, 8.0
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
        off_s = min(gap_s - self.mean_s, _OUTAGE_S + self.mean_s)
        self.mean_s += off_s / self._count
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
