"""The broker inside the service, for a board with nothing else on it. Started by the service.

Messages come straight from the broker into the inbox, with no second network hop, and a probe's
QoS 1 message is acknowledged only after `acknowledge`: the journal has it. So the promise is the
same as with a broker of one's own, as long as the probe keeps what is not acknowledged.

It speaks MQTT 3.1.1. It listens on this machine only, unless it is given another address, for which
the settings want a password file. Where there is one everyone needs an account, and may do what
`rights` says; without one only this machine comes in."""

import asyncio
import ipaddress
import logging
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from amqtt.contexts import Action, ListenerConfig
from amqtt.mqtt.publish import PublishPacket
from amqtt.session import Session

from monitor.events import Moment
from monitor.intake.hardened import BEGAN, NAME, HardenedBroker, Overrun
from monitor.intake.inbox import AckToken, Inbox, MqttMessage
from monitor.intake.link import BrokerState, Link
from monitor.intake.payload import MAX_PAYLOAD_BYTES
from monitor.intake.refused import printable
from monitor.intake.rights import Rights
from monitor.intake.unclaimed import Unclaimed

log = logging.getLogger(__name__)

WINDOW = 100  # of all probes together; each has a few messages open, so pacing need not hurry
# A probe's program gives up on an acknowledgement after a while and says the same again: some
# libraries for Wi-Fi boards after 30 s (from memory), many a program after 10 s. The shorter, the
# better for those; but each commit costs the card some 22 kB (measured: the log, and what of its
# index the kernel writes back), and 8 probes every 10 s are to stay at 4 MB an hour.
HOLD_S = 20.0
MOST_OUTGOING = 1000
MOST_DENIED = 50  # pairs of account and topic that are said in the log


@dataclass(eq=False, repr=False, kw_only=True)
class BuiltInBroker:
    """The broker and the way to it in one; fulfils `link.BrokerLink`."""

    topics: Sequence[str]
    inbox: Inbox
    clock: Callable[[], Moment]
    host: str = "127.0.0.1"
    port: int = 1883  # 0: one that is free, which is known once it listens
    on_state: Callable[[BrokerState], None] = lambda _: None
    prefix: str = "brooder"
    # Topics that only the service, or somebody at this machine, may use.
    ours: Callable[[str], bool] = lambda _topic: True
    rights: Rights | None = None
    unclaimed: Unclaimed | None = None
    cert_file: str | None = None
    key_file: str | None = None

    def __post_init__(self) -> None:
        self._status_topic = f"{self.prefix}/status"
        self._denied: set[tuple[str, str]] = set()
        self.set_topics(self.topics)
        self._broker: HardenedBroker | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._open: dict[AckToken, asyncio.Future[None]] = {}
        self._outgoing: set[asyncio.Task[None]] = set()
        self._outgoing_count = 0
        self.state = BrokerState(link=Link.STOPPED, words="not started", since=self.clock())

    # --- called by the service -----------------------------------------------------------------

    @property
    def window(self) -> int:
        """Deliveries to expect before acknowledgements are waited for."""
        return WINDOW

    @property
    def hold_s(self) -> float:
        """How long a probe is left without its acknowledgement, for the sake of the card."""
        return HOLD_S

    async def start(self) -> None:
        """Listen. Raises OSError with the address when that is not possible."""
        logging.getLogger("amqtt").setLevel(logging.CRITICAL)  # it logs each client in many lines
        logging.getLogger("transitions").setLevel(logging.WARNING)
        self._loop = asyncio.get_running_loop()
        shown = f"[{self.host}]" if ":" in self.host else self.host
        broker = HardenedBroker(
            ListenerConfig(
                bind=f"{shown}:{self.port}",
                ssl=self.cert_file is not None,
                certfile=Path(self.cert_file) if self.cert_file else None,
                keyfile=Path(self.key_file) if self.key_file else None,
            ),
            self,
        )
        try:
            await broker.start()
        except Exception as error:
            cause = error.__cause__ if isinstance(error.__cause__, OSError) else None
            number = cause.errno if cause is not None else None
            raise OSError(
                number, f"the built-in broker cannot listen on {shown}:{self.port} ({error})"
            ) from error
        self._broker, self.port = broker, broker.port
        self.publish(self._status_topic, b"online", retain=True)
        self._say(Link.CONNECTED, f"the built-in broker listens on {shown}:{self.port}")

    async def stop(self) -> None:
        """End all connections. What was not acknowledged the probes will send again."""
        broker, self._broker = self._broker, None
        if broker is None:
            return
        for waiting in self._open.values():
            waiting.cancel()
        await broker.shutdown()
        self._say(Link.STOPPED, "stopped")

    def acknowledge(self, tokens: Iterable[AckToken | None]) -> int:
        """The journal has these: let the probes know."""
        mine = [token for token in tokens if token is not None]
        if mine and self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._release, mine)
        return len(mine)

    def publish(self, topic: str, payload: bytes | str, qos: int = 1, retain: bool = False) -> bool:
        """To every client that subscribed to it. False: dropped."""
        data = payload.encode() if isinstance(payload, str) else payload
        loop = self._loop
        if loop is None or loop.is_closed() or self._broker is None:
            return False
        if self._outgoing_count >= MOST_OUTGOING:
            return False
        self._outgoing_count += 1
        loop.call_soon_threadsafe(self._send, topic, data, qos, retain)
        return True

    def set_topics(self, topics: Sequence[str]) -> None:
        self._wanted = frozenset(topics)

    def set_rights(self, rights: Rights | None) -> None:
        """Who may do what from now on (a reload), also of those who are connected. A changed
        password counts from the next connection on."""
        self.rights = rights
        self._denied.clear()

    def keep_going(self) -> None:
        """Nothing to mend: it lives in the event loop and ends with it."""

    # --- the broker's gate, in the event loop ---------------------------------------------------

    async def admit(self, connection: int, client: Session, packet: PublishPacket) -> None:
        """Hand a message to the inbox and wait until the journal has it. Raises Overrun."""
        topic = packet.topic_name or ""
        payload = bytes(packet.data or b"")
        if not self.may(client, topic, Action.PUBLISH):
            self._deny(client, topic)
            return
        received = self.clock()
        if topic not in self._wanted:
            if self.unclaimed is not None:
                self.unclaimed.add(topic, payload, received.at)
            return
        mid = packet.packet_id if packet.qos else None
        token = AckToken(connection, mid) if mid is not None else None
        if token is not None and token in self._open:  # sent again on the same connection
            await asyncio.shield(self._open[token])
            return
        delivery = MqttMessage(
            topic,
            payload,
            received,
            token,
            bool(packet.dup_flag),
            # From the probe the flag asks for keeping; the message itself is fresh (MQTT 3.1.1,
            # section 3.3.1.3: to a standing subscription it goes out with the flag at 0).
            retain=False,
            origin=client.client_id or "",
            session=client.attributes[BEGAN],
        )
        if token is None:
            self.inbox.put(delivery)
            return
        done = self._open[token] = asyncio.get_running_loop().create_future()
        try:
            if not self.inbox.put(delivery):
                raise Overrun
            await done
        finally:
            self._open.pop(token, None)

    def authenticate(self, client: Session) -> bool:
        """User name and password, where there is a password file."""
        return self.rights is None or self.rights.password_ok(client.username, client.password)

    def may(self, client: Session, topic: str, action: Action) -> bool:
        if self.rights is None:
            return action is not Action.PUBLISH or not self.ours(topic) or _is_local(client)
        if action is Action.SUBSCRIBE:  # judged message by message, as Mosquitto does
            return True
        name = str(client.attributes[NAME])
        if action is Action.PUBLISH:
            return self.rights.may_write(client.username, name, topic)
        return self.rights.may_read(client.username, name, topic)

    def _deny(self, client: Session, topic: str) -> None:
        """Each once in the log: a probe that is set up wrong is looked for there."""
        about = (str(client.username or ""), printable(topic[:200]))
        if about not in self._denied and len(self._denied) < MOST_DENIED:
            self._denied.add(about)
            log.warning(
                "The account %s may not publish on %s; what it says there is dropped. See "
                "rights_file, or name the account after its probe.",
                printable(about[0]) or "(none)",
                about[1],
            )

    def too_large(self, client: Session, topic: str, size: int) -> None:
        """In the log, and beside what else could not be read."""
        received = self.clock()
        name = printable(str(client.attributes[NAME])[:200])
        where = printable(topic[:200]) or "a topic that is not known"
        if ("", name + where) not in self._denied and len(self._denied) < MOST_DENIED:
            self._denied.add(("", name + where))
            log.warning(
                "The client %s sent %d bytes on %s, and its connection was ended: at most %d are "
                "read.",
                name or "(without a name)",
                size,
                where,
                MAX_PAYLOAD_BYTES,
            )
        if self.may(client, topic, Action.PUBLISH) and topic in self._wanted:
            name = client.client_id or ""
            self.inbox.put(MqttMessage(topic, b"", received, None, origin=name, too_large=size))

    def _release(self, tokens: list[AckToken]) -> None:
        for token in tokens:
            waiting = self._open.get(token)
            if waiting is not None and not waiting.done():
                waiting.set_result(None)

    def _send(self, topic: str, data: bytes, qos: int, retain: bool) -> None:
        task = asyncio.ensure_future(self._sent(topic, data, qos, retain))
        self._outgoing.add(task)
        task.add_done_callback(self._outgoing.discard)

    async def _sent(self, topic: str, data: bytes, qos: int, retain: bool) -> None:
        try:
            broker = self._broker
            if broker is not None:
                await broker.internal_message_broadcast(topic, data, qos)
                if retain:
                    await broker.retain_message(None, topic, data, qos)
        finally:
            self._outgoing_count -= 1

    def _say(self, link: Link, words: str) -> None:
        protocol = "MQTT 3.1.1" if link is Link.CONNECTED else ""
        self.state = BrokerState(link=link, words=words, since=self.clock(), protocol=protocol)
        self.on_state(self.state)


def _is_local(client: Session) -> bool:
    try:
        return ipaddress.ip_address(client.remote_address or "").is_loopback
    except ValueError:
        return False
