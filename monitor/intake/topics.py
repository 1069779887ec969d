"""MQTT topics and topic filters (MQTT 5.0, section 4.7), and what a topic belongs to. Pure; used by
settings, intake and service."""

from collections.abc import Iterable

from monitor.site import Meter, Probe


def topic_fault(topic: str) -> str | None:
    """Why this cannot be a probe's topic (MQTT 5.0, section 4.7), or None."""
    if not topic:
        return "is empty"
    if "+" in topic or "#" in topic:
        return "has a wildcard (+ or #); a probe has one topic of its own"
    if "\0" in topic:
        return "has a null character"
    if topic.startswith("$"):
        return "begins with $, which is kept for the broker itself"
    if len(topic.encode("utf-8", errors="replace")) > 65535:
        return "is longer than 65535 bytes"
    return None


def filter_fault(pattern: str) -> str | None:
    """Why this is not a topic filter (MQTT 5.0, section 4.7.1), or None."""
    if not pattern:
        return "is empty"
    if "\0" in pattern:
        return "has a null character"
    levels = pattern.split("/")
    for number, level in enumerate(levels):
        if "#" in level and (level != "#" or number != len(levels) - 1):
            return "has # elsewhere than alone at the end"
        if "+" in level and level != "+":
            return "has + beside other characters of a level"
    return None


def matches(pattern: str, topic: str) -> bool:
    """Does a topic filter match a topic (MQTT 5.0, section 4.7)?"""
    if topic.startswith("$") and pattern[:1] in ("+", "#"):
        return False
    wanted, levels = pattern.split("/"), topic.split("/")
    for number, want in enumerate(wanted):
        if want == "#":
            return True  # also the parent level itself
        if number >= len(levels) or want not in ("+", levels[number]):
            return False
    return len(wanted) == len(levels)


Sensor = Probe | Meter


class Router:
    """Topic to sensors. Several may read different places of one payload."""

    def __init__(self, probes: Iterable[Sensor]) -> None:
        by_topic: dict[str, list[Sensor]] = {}
        for probe in probes:
            by_topic.setdefault(probe.topic, []).append(probe)
        self._by_topic = {topic: tuple(claimed) for topic, claimed in by_topic.items()}

    def route(self, topic: str) -> tuple[Sensor, ...]:
        """What reads this topic; empty for an unclaimed one."""
        return self._by_topic.get(topic, ())
