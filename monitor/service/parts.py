"""The parts of the running service, for whoever asks or changes several of them: the page and the
commands, a reload. Put together by `run`."""

from dataclasses import dataclass

from monitor.service.annunciator import Annunciator
from monitor.service.broker_side import BrokerSide
from monitor.service.copying import Copying
from monitor.service.core import Core
from monitor.service.delivery_side import DeliverySide
from monitor.service.forecast import Forecaster
from monitor.service.mains_reading import MainsReading
from monitor.service.status_board import StatusBoard
from monitor.service.watch_calls import WatchCalls
from monitor.service.writer import Writer
from monitor.tell.house_voice import HouseVoice


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    core: Core
    calls: WatchCalls
    board: StatusBoard
    annunciator: Annunciator
    writer: Writer
    broker: BrokerSide
    delivery: DeliverySide
    voice: HouseVoice
    forecaster: Forecaster
    copying: Copying
    mains: MainsReading
