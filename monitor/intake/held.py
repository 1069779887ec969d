"""When was a message taken that the broker kept while this service was away? Pure; used by the
watch thread for every delivery.

MQTT does not say, and a backlog of an hour that arrives within a second would look like a box gone
mad. A probe reports evenly, so the n-th message held for a topic is taken to be n of the probe's
usual intervals after the last one heard, and never later than now. Such readings are marked as not
surely timed: they are for looking back, not for a verdict on ages."""

from monitor.events import Moment
from monitor.intake.inbox import MqttMessage

WEIGHT = 0.2  # of the newest interval in the usual one: follows a changed rate in a few messages
LONGEST_INTERVAL_S = 3600.0  # a longer silence is a gap and says nothing about the rate
GAP = 3.0  # intervals this many times the usual one are gaps too


class HeldTimes:
    """Usual interval and last time of each topic; bounded by the probes there are."""

    def __init__(self) -> None:
        self._last_at: dict[str, float] = {}
        self._interval_s: dict[str, float] = {}

    def recall(self, topic: str, last_at: float, interval_s: float | None) -> None:
        """At start, from the journal: the last reading and the usual interval."""
        self._last_at[topic] = max(last_at, self._last_at.get(topic, last_at))
        if interval_s is not None and 0 < interval_s <= LONGEST_INTERVAL_S:
            self._interval_s[topic] = interval_s

    def moment_of(self, delivery: MqttMessage) -> Moment:
        """When it was taken: the time of arrival unless the broker had held it."""
        topic, received = delivery.topic, delivery.received
        last_at = self._last_at.get(topic)
        if not delivery.held:
            if last_at is not None:
                self._learn(topic, received.at - last_at)
            self._last_at[topic] = received.at
            return received
        interval_s = self._interval_s.get(topic)
        if last_at is None or interval_s is None or last_at > received.at:
            self._last_at[topic] = received.at
            return received
        at = min(last_at + interval_s, received.at)
        self._last_at[topic] = at
        return Moment(at, received.tick - (received.at - at))

    def _learn(self, topic: str, passed_s: float) -> None:
        usual = self._interval_s.get(topic)
        if not 0 < passed_s <= LONGEST_INTERVAL_S:
            return
        if usual is None:
            self._interval_s[topic] = passed_s
        elif passed_s < GAP * usual:
            self._interval_s[topic] = usual + WEIGHT * (passed_s - usual)
