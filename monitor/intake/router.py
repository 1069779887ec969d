"""Which probes a topic belongs to. Built by the service from the site."""

from collections.abc import Iterable

from monitor.site import Probe


class Router:
    """Topic to probes. Several probes may read different places of one payload."""

    def __init__(self, probes: Iterable[Probe]) -> None:
        by_topic: dict[str, list[Probe]] = {}
        for probe in probes:
            by_topic.setdefault(probe.topic, []).append(probe)
        self._by_topic = {topic: tuple(claimed) for topic, claimed in by_topic.items()}

    @property
    def topics(self) -> tuple[str, ...]:
        """Every probe topic, once each, in the order of the configuration."""
        return tuple(self._by_topic)

    def route(self, topic: str) -> tuple[Probe, ...]:
        """The probes that read this topic; empty for an unclaimed one."""
        return self._by_topic.get(topic, ())
