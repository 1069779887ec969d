"""What the birds in a box need now: their age, and the target and limits that go with it. Held by
watch.brooder_watch."""

from datetime import tzinfo

from monitor.brooding.age_limits import limits_at
from monitor.brooding.batch import Batch
from monitor.brooding.calendar import age_days
from monitor.brooding.schedules import Schedule, schedule_for
from monitor.kept import Kept, part
from monitor.site import Brooder, Place
from monitor.watch.empty_box import EmptyBox
from monitor.watch.probe_watch import Edges

# A step comes at midnight, and whoever raises the lamp in the evening before has not lost it. Cold
# is told by the target of the day all the same. Common practice.
_EARLY_DAYS = 0.25
_MOST_HOURS = 1000  # edges of the band kept: quarter hours asked for of late


@part
class BoxNeeds(Kept):
    """Of one box. Limits are of the floor; None: there is no batch."""

    clock_sure: bool = True
    age_days: float | None = None
    target_c: float | None = None
    low_c: float | None = None
    early_low_c: float | None = None  # as a step that is near has it: no heat is missed above it
    high_c: float | None = None
    chill_c: float | None = None
    overheat_c: float

    def __init__(self, brooder: Brooder, zone: tzinfo, empty: EmptyBox) -> None:
        self.brooder, self.zone, self._empty = brooder, zone, empty
        self.batch: Batch | None = None  # the ledger's
        self.schedule: Schedule | None = None
        self._low_c_at: dict[float, float | None] = {}
        self.overheat_c = brooder.limits.fire_c

    def take(self, batch: Batch | None) -> None:
        """The ledger says what is in the box now."""
        old, self.batch = self.batch, batch
        self.schedule = None if batch is None else schedule_for(self.brooder, batch.kind)
        self._low_c_at.clear()
        if old is None or batch is None or old.number != batch.number:
            self.target_c = None  # other birds: take theirs even while the clock is in doubt

    def age_days_at(self, at: float) -> float:
        """Age of the birds at a wall time; a stale clock does not make them unborn."""
        batch = self.batch
        if batch is None:
            return 0.0
        return age_days(batch.hatched, max(at, batch.started_at), self.zone)

    def believes(self, at: float) -> bool:
        """Can the birds' age be told from this wall time? Not where the service doubts the clock,
        nor where it shows a time before they were placed."""
        return self.clock_sure and (self.batch is None or at >= self.batch.started_at)

    def refresh(self, at: float) -> None:
        """Set the limits for the age the birds have at a wall time."""
        if self.batch is None:
            self.age_days = None
        elif self.believes(at) or self.target_c is None:
            self.age_days = self.age_days_at(at)
        else:
            return
        edges = self._edges(Place.FLOOR, self.age_days)
        self.target_c, self.low_c, self.high_c, self.chill_c, self.overheat_c = edges
        self.early_low_c = self.low_c
        if self.low_c is not None and self.age_days is not None:
            soon_c = self._edges(Place.FLOOR, self.age_days + _EARLY_DAYS).low_c
            self.early_low_c = min(self.low_c, self.low_c if soon_c is None else soon_c)

    def edges(self, place: Place) -> Edges:
        """The limits at a place for the age the birds have now."""
        return self._edges(place, self.age_days)

    def _edges(self, place: Place, age: float | None) -> Edges:
        limits, at_age = self.brooder.limits, None
        if self.schedule is not None and age is not None:
            at_age = limits_at(self.schedule, age, self.brooder.steps, place, limits)
        if at_age is None:
            return Edges(None, None, None, None, limits.fire_c)
        return Edges(
            at_age.target_c, at_age.low_c, at_age.high_c, at_age.chill_c, at_age.overheat_c
        )

    def target_at(self, at: float) -> float | None:
        """The floor's target at a coming time; None: the birds need no heat any more."""
        return self._edges(Place.FLOOR, self.age_days_at(at)).target_c

    def low_at(self, at: float) -> float:
        """The lower edge of the floor's band at a coming time; of an empty box for chicks as they
        come."""
        if self.batch is None:
            limits = self._empty.limits
            return 0.0 if limits is None else limits.low_c
        if at not in self._low_c_at:  # each night's hours are asked for every quarter of an hour
            if len(self._low_c_at) > _MOST_HOURS:
                self._low_c_at.clear()
            self._low_c_at[at] = self._edges(Place.FLOOR, self.age_days_at(at)).low_c
        later = self._low_c_at[at]
        return (self.low_c or 0.0) if later is None else later
