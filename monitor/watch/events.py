"""The name by which programs outside this project read the vocabulary: it stands in `monitor.events`."""

from monitor.events import Moment as Moment  # noqa: PLC0414 - passed on
