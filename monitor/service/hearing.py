"""From a message to what the journal keeps and the watch takes in. Owned by `core`; pure.

Each probe or meter of its topic reads the payload. A reading comes out as the journal will have
it, so that a rebuilt state is the same to the last digit; what came before, or is not worth
keeping, is left out; what cannot be read is counted, and the watch is told of the probe."""

from collections.abc import Sequence

from monitor.events import BadValue, CameLate, Measured, Moment, Reading
from monitor.intake.payload import Outcome, Rejected, read, read_all
from monitor.intake.probe_clocks import ProbeClocks
from monitor.intake.refused import RefusedRecord
from monitor.intake.repeated import StampedMemory
from monitor.intake.topics import Router
from monitor.intake.worth_keeping import WorthKeeping
from monitor.journal.resolution import kept_at, kept_temp_c
from monitor.site import Site

SHORT_PAYLOAD = 32  # bytes; a bare number, read the fast way
_SPOILED_EVERY_S = 20.0  # so much of what cannot be read is told to the watch, and kept


class Hearing:
    """The site's topics, and what must be remembered of what was said on them."""

    def __init__(self, site: Site) -> None:
        self.refused = RefusedRecord()
        self.stamped = StampedMemory()
        self.clocks = ProbeClocks()
        self.came_late: list[CameLate] = []  # for the journal, since it was taken last
        self._worth_keeping = WorthKeeping()
        self._spoiled: dict[str, float] = {}  # tick of the latest word that was no number, by probe
        self.reconfigured(site)

    def reconfigured(self, site: Site) -> None:
        """Goes on with these probes and meters."""
        self.router = Router(site.all_sensors)
        self._quantity_of = {meter.key: meter.quantity for meter in site.all_meters}

    def hear(
        self,
        topic: str,
        payload: bytes,
        received: Moment,
        *,
        arrived: Moment | None = None,
        clock_sure: bool = True,
    ) -> list[Reading | BadValue | Measured] | None:
        """What one message says; None: nothing of ours claims the topic. `received` is when it was
        sent, as far as known; `arrived`, if that was later: the broker had held it."""
        sensors = self.router.route(topic)
        if not sensors:
            return None
        taken: list[Reading | BadValue | Measured] = []
        for sensor in sensors:
            if len(payload) < SHORT_PAYLOAD:
                outcomes = [read(payload, sensor, received, arrived)]
            else:
                outcomes = read_all(payload, sensor, received, arrived=arrived)
            if outcomes[-1].at != received.at or sensor.key in self.clocks.behind_s:
                outcomes = self._set_right(outcomes, sensor.key, received, arrived)
            for outcome in outcomes:
                # What has no stamp got the time of its message, and is always new.
                if outcome.at == received.at or not self._is_repeated(outcome):
                    taken += self._kept(outcome, topic, payload, clock_sure)
        return taken

    def _set_right(
        self, outcomes: list[Outcome], sensor: str, received: Moment, arrived: Moment | None
    ) -> list[Outcome]:
        """By what the sensor's own clock is behind."""
        came = arrived or received
        if came == received:  # else the broker has held it, and it tells nothing of the clock
            lag_s = kept_at(received.at - outcomes[-1].at)
            late = CameLate(kept_at(received.at), kept_at(received.tick), sensor, lag_s)
            if self.clocks.see(late):
                self.came_late.append(late)
        behind_s = self.clocks.behind_s.get(sensor)
        if behind_s is None:
            return outcomes
        return [
            one._replace(at=one.at + moved_s, tick=one.tick + moved_s)
            for one in outcomes
            for moved_s in (min(behind_s, came.at - one.at),)
        ]

    def refuse(self, topic: str, reason: str, payload: bytes, at: float) -> None:
        """A message that could not be read: counted, and remembered until the next start."""
        self.refused.add(topic, reason, payload, at)

    def _is_repeated(self, outcome: Outcome) -> bool:
        return isinstance(outcome, Reading) and self.stamped.is_repeated(
            outcome.probe, outcome.at, outcome.temp_c
        )

    def _kept(
        self, outcome: Outcome, topic: str, payload: bytes, clock_sure: bool
    ) -> Sequence[Reading | BadValue | Measured]:
        if isinstance(outcome, Reading):
            at, tick, probe, temp_c, sure = outcome
            kept, kept_c = kept_at(at), kept_temp_c(temp_c)
            if kept == at == tick and kept_c == temp_c and clock_sure:
                return (outcome,)
            kept_tick = kept if tick == at else kept_at(tick)
            return (Reading(kept, kept_tick, probe, kept_c, sure and clock_sure),)
        if isinstance(outcome, BadValue):
            return (outcome._replace(at=kept_at(outcome.at), tick=kept_at(outcome.tick)),)
        if isinstance(outcome, Measured):
            if not self._worth_keeping.is_it(outcome, self._quantity_of[outcome.meter]):
                return ()
            at, tick, value = kept_at(outcome.at), kept_at(outcome.tick), kept_temp_c(outcome.value)
            return (Measured(at, tick, outcome.meter, value, outcome.clock_sure and clock_sure),)
        self.refuse(topic, outcome.reason, payload, outcome.at)
        is_probe = outcome.probe not in self._quantity_of and not outcome.absent
        return self._spoiled_now(outcome) if is_probe else ()

    def _spoiled_now(self, said: Rejected) -> Sequence[BadValue]:
        """A probe sends what is no number. However much of it comes, some of it says enough."""
        last = self._spoiled.get(said.probe)
        if last is not None and 0.0 <= said.tick - last < _SPOILED_EVERY_S:
            return ()
        self._spoiled[said.probe] = said.tick
        it = "" if said.reason.startswith(("value at", "SenML")) else "it "
        reason = f"what it sends cannot be read: {it}{said.reason}"
        return (BadValue(kept_at(said.at), kept_at(said.tick), said.probe, reason, None),)
