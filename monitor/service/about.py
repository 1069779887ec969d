"""What the service says about itself, to the page and to `brooder check`. Read by the API."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from monitor import __version__
from monitor.service.broker_side import BrokerSide
from monitor.service.copying import Copying
from monitor.service.delivery_side import DeliverySide
from monitor.service.forecast import Forecaster
from monitor.service.writer import Writer
from monitor.tell.house_voice import HouseVoice
from monitor.watch.status import SiteStatus


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """The parts that have something to say, and since when they run (Unix seconds)."""

    started_at: float
    broker: BrokerSide
    writer: Writer
    reaching: DeliverySide
    voice: HouseVoice
    forecaster: Forecaster
    copying: Copying
    status: Callable[[], SiteStatus]

    def said(self) -> Mapping[str, Any]:
        """Of the estimate that failed, the brooders; of mirror and forecast, words (None: none is
        wanted); lows of the coming nights in degC."""
        broker = self.broker.state
        return {
            "started_at": self.started_at,
            "broker": broker.words if broker is not None else "none",
            "broker_connected": broker is not None and broker.connected,
            "without_estimate": [
                box.name for box in self.status().brooders if box.estimate_fault is not None
            ],
            "journal_ok": not self.writer.failing,
            "journal_why": self.writer.why_failing,
            "last_commit_at": self.writer.last_kept_at,
            "mirror": self.copying.words(),
            "mirror_well": self.copying.well(),
            "contacts": self.reaching.about(),
            "voice_trouble": self.voice.trouble,
            "forecast": self.forecaster.words(),
            "forecast_learned": self._learned(),
            "forecast_lows": self.forecaster.lows(),
            "version": __version__,
        }

    def _learned(self) -> dict[str, float]:
        """The night's lowest at each box's own place, by what its outside probe has taught about
        the forecast, degC."""
        return {
            box.name: box.outlook.outside_low_c
            for box in self.status().brooders
            if box.outlook is not None and box.outlook.outside_from.startswith("forecast")
        }
