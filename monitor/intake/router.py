"""Which probes and meters a topic belongs to. Built by the service from the site."""

from collections.abc import Iterable

from monitor.site import Meter, Probe

Sensor = Probe | Meter


class Router:
    """Topic to sensors. Several may read different places of one payload."""

    def __init__(self, probes: Iterable[Sensor]) -> None:
        by_topic: dict[str, list[Sensor]] = {}
        for probe in probes:
            by_topic.setdefault(probe.topic, []).append(probe)
        self._by_topic = {topic: tuple(claimed) for topic, claimed in by_topic.items()}

    @property
    def topics(self) -> tuple[str, ...]:
        """Every topic, once each, in the order of the configuration."""
        return tuple(self._by_topic)

    def route(self, topic: str) -> tuple[Sensor, ...]:
        """What reads this topic; empty for an unclaimed one."""
        return self._by_topic.get(topic, ())
