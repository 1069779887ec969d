"""The service's side of the broker: its own or another's, what is read there, and how long it may
stay away before somebody is told. Owned by `run`, in the event loop."""

import asyncio
import contextlib
import logging
from collections.abc import Callable
from dataclasses import KW_ONLY, dataclass
from typing import TYPE_CHECKING

from monitor.events import AlarmName, Facts
from monitor.intake.broker_session import BrokerSession
from monitor.intake.inbox import Inbox
from monitor.intake.link import BrokerAddress, BrokerLink, BrokerState, Link
from monitor.intake.listener import Listener
from monitor.intake.rights import Rights
from monitor.intake.unclaimed import Unclaimed
from monitor.journal.pacing import Pacing
from monitor.service import commands_by_mqtt
from monitor.service.clock import Clock
from monitor.service.configured import broker_address, rights_of
from monitor.service.logs import facts
from monitor.settings import Settings
from monitor.tell.status_topics import is_ours

if TYPE_CHECKING:
    from monitor.intake.builtin import BuiltInBroker

log = logging.getLogger(__name__)

BROKER_PATIENCE_S = 30.0  # a broker that restarts is back sooner; longer is worth telling
HEAR_WITHIN_S = 2.0
LISTEN_S = 900.0  # what else is on the broker is heard for so long after somebody looked


@dataclass(eq=False, repr=False)
class BrokerSide:
    """The link from `start` to `stop`, and what is said about it."""

    settings: Settings
    _: KW_ONLY
    inbox: Inbox
    clock: Clock
    fault: Callable[[AlarmName, bool, Facts], None]
    pacing: Pacing  # goes by how far the broker sends ahead

    def __post_init__(self) -> None:
        self._address = broker_address(self.settings)  # None: our own; another one needs a start
        self._loop = asyncio.get_running_loop()
        # Our own topics bear the prefix until the next start: sessions and wills are made with it.
        self._prefix = prefix = self.settings.file.tell.topic_prefix
        self.unclaimed = Unclaimed(ours=lambda topic: is_ours(topic, prefix))
        self._session: BrokerSession | None = None
        self._built_in: BuiltInBroker | None = None
        self._lost_timer: asyncio.TimerHandle | None = None
        self._listener: Listener | None = None
        self._listen_timer: asyncio.TimerHandle | None = None
        self._told_lost = False
        self._ending = False
        self.place = ""  # where it is, once started
        self.port: int | None = None  # of the built-in broker

    # -- start

    async def start(self) -> None:
        """Connects, or begins to listen. Raises OSError where it cannot."""
        link = await self._listen() if self._address is None else self._connect(self._address)
        self.pacing.window, self.pacing.hold_s = link.window, link.hold_s

    def _connect(self, address: BrokerAddress) -> BrokerLink:
        session = BrokerSession(
            address,
            client_id=self.settings.client_id,
            topics=self._topics(),
            inbox=self.inbox,
            clock=self.clock.now,
            on_state=self._said,
            prefix=self._prefix,
        )
        session.start()
        self.place = str(address)
        self._session = session
        return session

    async def _listen(self) -> BrokerLink:
        own = self.settings.file.built_in_broker
        base = self.settings.source.parent
        # Ten megabytes that a board with a broker of its own need not carry.
        from monitor.intake import builtin  # noqa: PLC0415

        broker = self._built_in = builtin.BuiltInBroker(
            topics=self._topics(),
            inbox=self.inbox,
            clock=self.clock.now,
            host=own.listen,
            port=own.port,
            on_state=self._said,
            prefix=self._prefix,
            ours=lambda topic: is_ours(topic, self._prefix),
            rights=rights_of(self.settings),
            unclaimed=self.unclaimed,
            cert_file=str(base / own.cert_file) if own.cert_file else None,
            key_file=str(base / own.key_file) if own.key_file else None,
        )
        await broker.start()
        self.port = broker.port
        self.place = f"{own.listen}:{broker.port}"
        return broker

    async def wait_to_hear(self) -> None:
        """Nobody is told that we watch before the broker sends us our topics, if it is there at
        all: a first reading published in between would be lost."""
        session = self._session
        until = self._loop.time() + HEAR_WITHIN_S
        while session is not None and not session.hears and self._loop.time() < until:
            if session.state.link in (Link.UNREACHABLE, Link.REFUSED):
                return
            await asyncio.sleep(0.01)

    # -- while it runs

    @property
    def state(self) -> BrokerState | None:
        """How things stand; None: not started."""
        link = self.link
        return link.state if link is not None else None

    def listen_for_a_while(self) -> None:
        """Somebody looks at what else is said there. The built-in broker sees it by itself."""
        if self._address is None:
            return
        if self._listener is None:
            self._listener = Listener(
                self._address,
                unclaimed=self.unclaimed,
                claimed=lambda topic: topic in self._topics(),
                now=lambda: self.clock.now().at,
            )
        self._listener.start()
        if self._listen_timer is not None:
            self._listen_timer.cancel()
        self._listen_timer = self._loop.call_later(LISTEN_S, self._listener.stop)

    def take(self, fresh: Settings, rights: Rights | None) -> None:
        """Reads the topics of another configuration from now on, and goes by these rights."""
        self.settings = fresh
        if self._built_in is not None:
            self._built_in.set_rights(rights)
        if self.link is not None:
            self.link.set_topics(self._topics())
        self.unclaimed.forget(self._topics())

    @property
    def link(self) -> BrokerLink | None:
        """The connection to the broker; None: it is not started."""
        return self._session or self._built_in

    def _topics(self) -> tuple[str, ...]:
        file = self.settings.file
        extra = [file.forecast.topic] if file.forecast and file.forecast.topic else []
        sensors = {sensor.topic: None for sensor in self.settings.site.published}
        return (*sensors, *commands_by_mqtt.command_topics(file.tell.topic_prefix), *extra)

    def _said(self, state: BrokerState) -> None:
        """Hands a state of the connection from the network thread to the loop."""
        with contextlib.suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(self._is, state)

    def _is(self, state: BrokerState) -> None:
        log.info("Broker.", extra=facts(state=state.link.value, words=state.words))
        if state.link is Link.TAKEN_OVER:
            self.fault(AlarmName.NAME_TAKEN, True, Facts(reason=state.words))
        if state.connected:
            self._stop_timer()
            if self._told_lost:
                self._told_lost = False
                self.fault(AlarmName.BROKER_LOST, False, Facts())
            if self.link is not None:
                self.pacing.window = self.link.window
            return
        if self._lost_timer is None and not self._told_lost:
            self._lost_timer = self._loop.call_later(
                BROKER_PATIENCE_S / self.clock.speed, self._stays_away
            )

    def _stays_away(self) -> None:
        self._lost_timer = None
        state = self.state
        if state is None or state.connected or self._ending:
            return
        self._told_lost = True
        self.fault(AlarmName.BROKER_LOST, True, Facts(reason=state.words))

    def _stop_timer(self) -> None:
        if self._lost_timer is not None:
            self._lost_timer.cancel()
            self._lost_timer = None

    # -- stop

    def end_patience(self) -> None:
        """The service ends: a broker that goes now is no trouble to tell."""
        self._ending = True
        self._stop_timer()

    async def stop(self) -> None:
        """Ends the connection, or the broker with all of its."""
        if self._listener is not None:
            self._listener.stop()
        if self._built_in is not None:
            await asyncio.sleep(0.05)  # the acknowledgements just given leave first
            await self._built_in.stop()
        elif self._session is not None:
            await asyncio.to_thread(self._session.stop)
