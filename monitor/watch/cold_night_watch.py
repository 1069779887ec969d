"""Will the floor of a box hold tonight? Asked from the afternoon to the morning, each quarter of an
hour. Held by watch.brooder_watch."""

from datetime import datetime

from monitor.brooding.night_hours import NIGHT_FROM_H, NIGHT_TO_H, OUTLOOK_FROM_H
from monitor.events import Moment
from monitor.kept import Kept, Tick, part
from monitor.thermal.coming_night import CLEAR_CHANCE, FRONT_CHANCE, UNSEEN_CHANCE, WARN_CHANCE
from monitor.thermal.diagnosis import Outlook
from monitor.thermal.estimate import Estimate, Forecast, Wish
from monitor.watch.alarm import Alarm
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.box_needs import BoxNeeds
from monitor.watch.box_probes import BoxProbes

# No cold night is told of a box that is heard for less: what it holds is then hardly more than its
# measures, and it may still be warming up. Common practice.
KNOWN_S = 3600.0
_AHEAD_S = 1800.0  # a night whose lowest is sooner is not ahead: what is cold is told as that

NIGHT_OVER = "the night is over"  # why a cold night ended


@part
class ColdNightWatch(Kept):
    """Of one box. `outlook` is None while nobody asks, or nothing is known."""

    outlook: Outlook | None = None
    outlook_at: float | None = None
    _known_since: Tick | None = None  # when the floor was first found heard

    def __init__(
        self, needs: BoxNeeds, probes: BoxProbes, estimate: Estimate, register: AlarmRegister
    ) -> None:
        self._needs, self._probes = needs, probes
        self._estimate, self._register = estimate, register

    def look(self, now: Moment, forecast: Forecast | None, cold_night: Alarm) -> None:
        """Take an outlook, and judge the alarm by it."""
        tick, needs, register = now.tick, self._needs, self._register
        hour = datetime.fromtimestamp(now.at, needs.zone).hour
        if self._known_since is None and any(p.known for p in self._probes.floor):
            self._known_since = tick
        self.outlook = self.outlook_at = None
        if needs.batch is None or needs.low_c is None or self._probes.out_of_service:
            return
        if NIGHT_TO_H <= hour < OUTLOOK_FROM_H:
            register.stop(cold_night, tick, NIGHT_OVER)
            return
        self.outlook = self._estimate.tonight(
            now, low_at=needs.low_at, forecast=forecast, wish=Wish()
        )
        self.outlook_at = now.at
        if self.outlook is None:
            return
        expected = cold_night.active or cold_night.delay.condition
        by_day = NIGHT_TO_H <= hour <= NIGHT_FROM_H  # until that hour is over
        likely = WARN_CHANCE if self.outlook.foretold else FRONT_CHANCE
        likely = UNSEEN_CHANCE if by_day or not self.outlook.seen else likely
        enough = CLEAR_CHANCE if expected else likely
        known = self._known_since is not None and tick - self._known_since >= KNOWN_S
        # In its last hour nobody prepares for a night any more.
        ahead = hour != NIGHT_TO_H - 1 and self.outlook.lowest_at - now.at > _AHEAD_S
        if expected or (known and ahead):
            register.see(cold_night, self.outlook.chance >= enough, tick)
