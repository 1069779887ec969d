"""What is looked at every quarter of an hour: a box's limits for the age, the start of its night,
its meters, the outlook for tonight, advice. Held by watch.engine."""

from collections.abc import Iterable
from datetime import tzinfo

from monitor.events import Moment
from monitor.kept import Kept, part
from monitor.thermal.estimate import Forecast
from monitor.watch.advisor import Advisor
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.brooder_watch import BrooderWatch
from monitor.watch.ledger_watch import LedgerWatch
from monitor.watch.timers import Slot, Timers

REVIEW = "review"
REVIEW_S = 900.0  # divides every local midnight, so a step comes on time


@part
class QuarterHours(Kept):
    """Of all boxes of a site. `forecast`: the newest one."""

    forecast: Forecast | None = None
    _advisors: dict[str, Advisor]

    def __init__(
        self,
        boxes: Iterable[BrooderWatch],
        zone: tzinfo,
        *,
        register: AlarmRegister,
        timers: Timers,
        ledger: LedgerWatch,
    ) -> None:
        self._zone, self._register, self._timers, self._ledger = zone, register, timers, ledger
        self._advisors = {box.name: Advisor(box.brooder, zone, register) for box in boxes}

    def start(self, box: BrooderWatch, tick: float) -> None:
        """From now on, by what the clock on the wall shows."""
        self._set_next(box, tick)
        self._see_hour(box, tick)
        box.refresh(tick)

    def review(self, box: BrooderWatch, tick: float) -> None:
        """A quarter of an hour has passed."""
        self._set_next(box, tick)
        if self._see_hour(box, tick):
            for probe in box.probes:
                probe.begin_night()
        box.refresh(tick)
        box.review_meters(tick)
        box.look_ahead(tick, self.forecast)
        self.advise(box, tick)

    def _set_next(self, box: BrooderWatch, tick: float) -> None:
        quarter = self._register.wall_at(tick) // REVIEW_S
        due = (quarter + 1) * REVIEW_S - self._register.offset_s
        self._timers.set(Slot(0, REVIEW, box.name), due)

    def _see_hour(self, box: BrooderWatch, tick: float) -> bool:
        """True: a new night has begun."""
        at = self._register.wall_at(tick)
        began = box.night.begin(at, tick, self._zone)
        box.estimate.hour(tick, at)
        return began

    def advise(self, box: BrooderWatch, tick: float) -> None:
        """Advice for the birds that are in now."""
        now = Moment(tick + self._register.offset_s, tick)
        nights = box.estimate.nights(now, self.forecast, box.tonight.outlook)
        ledger = self._ledger.ledger
        box.moving = self._advisors[box.name].see(box.needs.batch, tick, nights, ledger)
