"""The name by which programs outside read the vocabulary of `monitor.events`."""

from monitor.events import Moment as Moment  # noqa: PLC0414 - passed on
