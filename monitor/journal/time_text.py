"""How a time is written in lines, CSV and events: ISO 8601 in UTC. Apart from those who write
them, since the service writes it too, and must not load what an export needs."""

from datetime import UTC, datetime

FRACTION = [""] + [f".{ms:03d}" for ms in range(1, 1000)]  # of a second, by its milliseconds


def iso(at_ms: int) -> str:
    """`2026-02-10T02:15:30Z`, with milliseconds where there are any."""
    moment = datetime.fromtimestamp(at_ms // 1000, UTC)
    return f"{moment:%Y-%m-%dT%H:%M:%S}{FRACTION[at_ms % 1000]}Z"
