"""A lasting session with the site's broker, by paho-mqtt. Started by the service.

MQTT 5, or 3.1.1 where the broker knows no other; QoS 1, acknowledged by the caller; reconnects for
ever. paho's network thread runs the callbacks here, which only hand over and return.

Acknowledgements: a token names its connection. Under one lock a token is compared and sent, and
under the same lock a connection ends, so none of an earlier connection can be sent on a later one
(paho empties its send queue when it reconnects, which is after on_disconnect)."""

import logging
import socket
import struct
import sys
import threading
import uuid
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from functools import wraps
from math import inf
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from monitor.bounded import Bounded
from monitor.events import Moment
from monitor.intake.inbox import AckToken, Inbox, MqttMessage
from monitor.intake.link import BrokerAddress, BrokerState, Link, words_for_failure
from monitor.intake.plain_client import secure
from monitor.intake.read_ahead import Client

log = logging.getLogger(__name__)

KEEPALIVE_S = 15  # a half-open connection is found out within two of these
LONGEST_BACKOFF_S = 60
WINDOW = 100  # Receive Maximum; more only makes a redelivery after a crash longer
WINDOW_311 = 20  # what Mosquitto allows by default; MQTT 3.1.1 cannot ask for more
SESSION_EXPIRY_S = 7 * 86400
RECEIVE_BUFFER = 128 * 1024  # two of the largest payloads that are read
BORROWED_EXPIRY_S = 3600  # of a name that we only use until the next start
LARGEST_PACKET = 1 << 20  # far above the 64 KiB that are read; bounds what a packet can cost here
MOST_KEPT = 200  # topics kept for, and messages waiting for, the next connection
# A topic on which more comes than this, unasked for an acknowledgement (QoS 0), is not read for a
# while: everything comes by one connection, and what matters would wait behind it.
FLOOD, FLOOD_WITHIN_S, FLOOD_PAUSE_S = 3000, 10.0, 60.0
HELD_FOR_S = 120.0  # the longest a backlog is taken to last if our mark does not come back
# So many connections that a broker which is there ends by itself, within so long, are pushed out:
# one that restarts is away for a moment first, a network that fails ends them by the keep-alive.
PUSHED_OUT, PUSHED_OUT_WITHIN_S = 3, 600.0

_PUBACK = struct.Struct("!BBH")  # kind, length, packet identifier: alike in MQTT 3.1.1 and 5
_MQTT5 = MQTTProtocolVersion.MQTTv5
_MQTT311 = MQTTProtocolVersion.MQTTv311
_PROTOCOL_NAME = {_MQTT5: "MQTT 5", _MQTT311: "MQTT 3.1.1"}


def _guarded(callback: Callable[..., None]) -> Callable[..., None]:
    """An error in a callback must not end paho's thread, and must be seen."""

    @wraps(callback)
    def guarded(*args: Any) -> None:
        try:
            callback(*args)
        except Exception:
            log.exception("Unexpected trouble in %s; going on.", callback.__name__)

    return guarded


def _bound_buffer(_client: paho.Client, _userdata: Any, line: Any) -> None:
    """Else the system lets a flood pile up in megabytes, a minute's work, before what matters."""
    with suppress(OSError):
        line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, RECEIVE_BUFFER)


class BrokerSession:
    """One session; fulfils `link.BrokerLink`."""

    def __init__(
        self,
        address: BrokerAddress,
        *,
        client_id: str,
        topics: Sequence[str],
        inbox: Inbox,
        clock: Callable[[], Moment],
        on_state: Callable[[BrokerState], None] = lambda _: None,
        prefix: str = "brooder",
        keepalive_s: int = KEEPALIVE_S,
    ) -> None:
        self._address = address
        self._own_id = self._client_id = client_id
        self._topics = tuple(topics)
        self._wanted = frozenset(topics)
        self._given_up: set[str] = set()  # topics that still came on this connection, unasked for
        self._inbox = inbox
        self._clock = clock
        self._on_state = on_state
        self._status_topic = f"{prefix}/status"
        # A name may hold what a topic level may not.
        level = "".join("-" if char in "+#/\0" else char for char in client_id)
        self._mark_topic = f"{prefix}/status/mark/{level}"
        self._keepalive_s = keepalive_s
        self._lock = threading.RLock()
        self._client: paho.Client | None = None
        self._protocol = _MQTT5
        self._generation = 0
        self._began = 0  # generation with which the broker's session for us began; 0: before
        self._connected = False
        self._stopping = False
        self._connected_tick = 0.0
        self._ended: deque[float] = deque(maxlen=PUSHED_OUT)  # ticks: the broker hung up on us
        self._answered = False  # by a CONNACK that refuses
        self._unanswered = 0  # connections in a row closed before any CONNACK
        self._held_mark: bytes | None = None  # our mark is on its way through the broker's backlog
        self._quick: dict[str, tuple[float, int]] = {}  # topic: since when so many came at QoS 0
        self._paused: dict[str, float] = {}  # topic that floods: tick from which it is read again
        self._asked: dict[int, tuple[str, ...]] = {}  # SUBSCRIBE packet -> its topics
        self._retained: Bounded[str, tuple[bytes, int]] = Bounded(MOST_KEPT)
        self._waiting: deque[tuple[str, bytes, int]] = deque(maxlen=MOST_KEPT)
        self._state = BrokerState(
            link=Link.CONNECTING, words=f"connecting to {address}", since=clock()
        )

    # --- called by the service -----------------------------------------------------------------

    @property
    def state(self) -> BrokerState:
        return self._state

    @property
    def window(self) -> int:
        """Deliveries the broker sends before it waits for acknowledgements."""
        return WINDOW if self._protocol is _MQTT5 else WINDOW_311

    @property
    def hold_s(self) -> float:
        """The broker has acknowledged to the probe already, and waits for ever."""
        return inf

    @property
    def hears(self) -> bool:
        """Has the broker confirmed what we asked to read? What is said before that, it sends to
        nobody, unless a session of ours was there already."""
        return self._connected and not self._asked

    def start(self) -> None:
        """Begin connecting, in the background. Raises OSError for certificate files that cannot be
        read: that does not mend itself."""
        with self._lock:
            self._begin()

    def stop(self, within_s: float = 3.0) -> None:
        """Say goodbye and end. The broker keeps the session and what comes meanwhile."""
        with self._lock:
            self._stopping = True
            client, self._client = self._client, None
            said = None
            if client is not None and self._connected:
                said = client.publish(self._status_topic, b"offline", qos=1, retain=True)
            self._connected = False
        if client is None:
            return
        if said is not None:
            with suppress(RuntimeError, ValueError):
                said.wait_for_publish(within_s / 2)
        client.disconnect()
        # loop_stop() waits for ever if the thread hangs in a name look-up.
        ending = threading.Thread(target=client.loop_stop, daemon=True)
        ending.start()
        ending.join(within_s)
        self._say(Link.STOPPED, "stopped")

    def keep_going(self) -> None:
        """Call now and then: starts afresh if the network thread has died of a broken packet."""
        with self._lock:
            client = self._client
            if client is None or self._stopping:
                return
            self._read_again(client)
            if client.loop_start() is MQTTErrorCode.MQTT_ERR_INVAL:
                return  # it runs already
            log.error("The network thread had ended; a new one was started.")
            client.disconnect()
            self._connected = False
            self._begin()

    def acknowledge(self, tokens: Iterable[AckToken | None]) -> int:
        """Tell the broker that these are on disk; stale tokens are dropped."""
        with self._lock:
            client = self._client
            if client is None or not self._connected:
                return 0
            mids = [t.mid for t in tokens if t is not None and t.generation == self._generation]
            if mids:
                # All in one piece: `client.ack` wakes paho's thread and asks the system for each.
                packets = b"".join(_PUBACK.pack(PacketTypes.PUBACK << 4, 2, mid) for mid in mids)
                client._packet_queue(PacketTypes.PUBACK << 4, packets, mids[-1], 1)
            return len(mids)

    def publish(self, topic: str, payload: bytes | str, qos: int = 1, retain: bool = False) -> bool:
        """Send, or keep for the next connection: of a retained topic the last word, of others the
        last 200. False: dropped. Raises ValueError for a topic that is none."""
        data = payload.encode() if isinstance(payload, str) else payload
        with self._lock:
            if retain:
                # Said again on every connection: a broker may have lost it in a restart.
                self._retained[topic] = (data, qos)
            client = self._client
            if client is None or not self._connected:
                if not retain and qos > 0:
                    self._waiting.append((topic, data, qos))
                return retain or qos > 0
            info = client.publish(topic, data, qos=qos, retain=retain)
            return info.rc is MQTTErrorCode.MQTT_ERR_SUCCESS

    def set_topics(self, topics: Sequence[str]) -> None:
        with self._lock:
            gone = [topic for topic in self._topics if topic not in topics]
            self._topics = tuple(topics)
            self._wanted = frozenset(topics)
            self._given_up.clear()
            if self._client is not None and self._connected:
                if gone:
                    self._client.unsubscribe(gone)
                self._subscribe(self._client)

    # --- the connection ------------------------------------------------------------------------

    def _begin(self) -> None:
        five = self._protocol is _MQTT5
        client = Client(
            callback_api_version=CallbackAPIVersion.VERSION2,
            client_id=self._client_id,
            clean_session=None if five else False,
            protocol=self._protocol,
            manual_ack=True,
        )
        client.reconnect_delay_set(1, LONGEST_BACKOFF_S)
        client.max_queued_messages_set(3 * MOST_KEPT)  # all that is kept goes out at once
        client.will_set(self._status_topic, b"offline", qos=1, retain=True)
        secure(client, self._address)
        client.on_socket_open = _guarded(_bound_buffer)
        client.on_connect = _guarded(self._on_connect)
        client.on_connect_fail = _guarded(self._on_connect_fail)
        client.on_disconnect = _guarded(self._on_disconnect)
        client.on_subscribe = _guarded(self._on_subscribe)
        client.on_message = _guarded(self._on_message)
        properties = None
        if five:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            own = self._client_id == self._own_id
            properties.SessionExpiryInterval = SESSION_EXPIRY_S if own else BORROWED_EXPIRY_S
            properties.ReceiveMaximum = WINDOW
            properties.MaximumPacketSize = LARGEST_PACKET
        client.connect_async(
            self._address.host,
            self._address.real_port,
            keepalive=self._keepalive_s,
            **({"clean_start": False, "properties": properties} if five else {}),  # type: ignore[arg-type]
        )
        self._client = client
        client.loop_start()

    def _change_protocol(self, client: paho.Client) -> None:
        """From within a callback: leave this client's thread to end and begin with the other."""
        self._protocol = _MQTT311 if self._protocol is _MQTT5 else _MQTT5
        self._unanswered = 0
        log.info(
            "The broker does not take the protocol; trying %s.", _PROTOCOL_NAME[self._protocol]
        )
        client.disconnect()
        self._begin()

    def _give_way(self, client: paho.Client, *, sure: bool) -> None:
        """From within a callback: two of one name push each other out and are both half deaf, so
        we go on under another, and hear everything from then on."""
        uses = "uses" if sure else "seems to use"
        words = f"another service {uses} the client id {self._client_id} at {self._address}"
        self._ended.clear()
        self._client_id = f"{self._own_id}-{uuid.uuid4().hex[:8]}"
        client.disconnect()
        self._say(Link.TAKEN_OVER, words)
        self._begin()

    def _subscribe(self, client: paho.Client) -> None:
        wanted = [topic for topic in self._topics if topic not in self._paused]
        wanted.append(self._mark_topic)
        for first in range(0, len(wanted), 50):
            some = tuple(wanted[first : first + 50])
            _, mid = client.subscribe([(topic, 1) for topic in some])
            if mid is not None:
                self._asked[mid] = some

    # --- paho's callbacks, in its thread -------------------------------------------------------

    def _on_connect(
        self,
        client: paho.Client,
        _userdata: Any,
        flags: paho.ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        with self._lock:
            if client is not self._client:
                return
            self._unanswered = 0
            self._answered = reason.is_failure
            if reason.is_failure:
                name = reason.getName()
                if name == "Unsupported protocol version" and self._protocol is _MQTT5:
                    self._change_protocol(client)
                    return
                self._say(Link.REFUSED, self._words_for_refusal(name))
                return
            self._generation += 1
            if not flags.session_present:
                self._began = self._generation
            self._connected_tick = self._clock().tick
            self._held_mark = None
            self._asked.clear()
            self._given_up.clear()
            self._quick.clear()
            self._paused.clear()
            self._subscribe(client)
            self._connected = True  # only now: `hears` looks without the lock
            if flags.session_present:
                self._held_mark = uuid.uuid4().bytes
                client.publish(self._mark_topic, self._held_mark, qos=1)
            client.publish(self._status_topic, b"online", qos=1, retain=True)
            for topic, (data, qos) in self._retained.items():
                client.publish(topic, data, qos=qos, retain=True)
            while self._waiting:
                topic, data, qos = self._waiting.popleft()
                client.publish(topic, data, qos=qos)
            self._say(Link.CONNECTED, f"connected to {self._address}")

    def _words_for_refusal(self, name: str) -> str:
        if name in ("Bad user name or password", "Not authorized"):
            who = self._address.username
            return f"{self._address} refuses the user name or password" + (
                f" of {who}" if who else " (none is configured)"
            )
        return f"{self._address} refuses the connection: {name}"

    def _on_connect_fail(self, client: paho.Client, _userdata: Any) -> None:
        # paho calls this while it handles the exception, and does not pass it on.
        error = sys.exc_info()[1]
        with self._lock:
            if client is self._client:
                self._ended.clear()
                self._say(Link.UNREACHABLE, words_for_failure(self._address, error))

    def _on_disconnect(
        self,
        client: paho.Client,
        _userdata: Any,
        flags: paho.DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        with self._lock:
            if client is not self._client:
                return
            name = reason.getName()
            if not self._connected:
                if self._answered:
                    self._answered = False
                elif name == "Keep alive timeout":
                    self._say(Link.UNREACHABLE, f"{self._address} does not answer")
                else:
                    # Some brokers just hang up on a protocol they do not know.
                    self._unanswered += 1
                    self._say(Link.UNREACHABLE, f"{self._address} hangs up without an answer")
                    if self._unanswered >= 2:
                        self._change_protocol(client)
                return
            self._connected = False
            pushed_out = flags.is_disconnect_packet_from_server and name == "Session taken over"
            if name == "Unspecified error":
                self._ended.append(self._clock().tick)
            # A broker need not say why it hangs up (Mosquitto 2.0.11 does not): the second sign.
            if pushed_out or (
                len(self._ended) == PUSHED_OUT
                and self._ended[-1] - self._ended[0] <= PUSHED_OUT_WITHIN_S
            ):
                self._give_way(client, sure=pushed_out)
                return
            client.reconnect_delay_set(1, LONGEST_BACKOFF_S)
            why = "" if name == "Unspecified error" else f" ({name.lower()})"
            self._say(Link.LOST, f"the connection to {self._address} was lost{why}")

    def _on_subscribe(
        self,
        client: paho.Client,
        _userdata: Any,
        mid: int,
        reasons: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        with self._lock:
            if client is not self._client:
                return
            asked = self._asked.pop(mid, ())
            refused = tuple(
                topic
                for topic, reason in zip(asked, reasons, strict=False)
                if reason.is_failure and topic != self._mark_topic
            )
            if any(r.is_failure for t, r in zip(asked, reasons, strict=False) if t not in refused):
                self._held_mark = None  # our mark will not come back
            if refused:
                listed = ", ".join(refused)
                self._say(
                    Link.CONNECTED,
                    f"connected to {self._address}, which does not let us read {listed}",
                    not_allowed=self._state.not_allowed + refused,
                )

    def _on_message(self, client: paho.Client, _userdata: Any, message: paho.MQTTMessage) -> None:
        if client is not self._client:
            return
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = "(not UTF-8)"
        received = self._clock()
        token = AckToken(self._generation, message.mid) if message.qos else None
        held = self._held_mark is not None
        if held:
            too_long = received.tick - self._connected_tick > HELD_FOR_S
            if too_long or (topic == self._mark_topic and message.payload == self._held_mark):
                self._held_mark = None
        if topic == self._mark_topic:
            self.acknowledge((token,))
            return
        if token is None and self._floods(client, topic, received.tick):
            return
        if topic not in self._wanted and topic not in self._given_up:
            # Subscribed by an earlier run: the broker keeps that with the session, and the
            # configuration no longer says so.
            self._given_up.add(topic)
            client.unsubscribe(topic)
        self._inbox.put(
            MqttMessage(
                topic,
                bytes(message.payload),
                received,
                token,
                message.dup,
                message.retain,
                held,
                session=self._began,
            )
        )

    def _floods(self, client: paho.Client, topic: str, tick: float) -> bool:
        """Is this message one of a flood, to be let go unread?"""
        if topic not in self._wanted:
            return False
        if topic in self._paused:
            return True
        since, count = self._quick.get(topic, (tick, 0))
        if tick - since > FLOOD_WITHIN_S:
            since, count = tick, 0
        self._quick[topic] = since, count + 1
        if count < FLOOD:
            return False
        del self._quick[topic]
        self._paused[topic] = tick + FLOOD_PAUSE_S
        client.unsubscribe(topic)
        log.warning(
            "More than %d messages within %.0f s came on %s; it is not read for %.0f s.",
            FLOOD,
            FLOOD_WITHIN_S,
            topic,
            FLOOD_PAUSE_S,
        )
        return True

    def _read_again(self, client: paho.Client) -> None:
        tick = self._clock().tick
        over = [topic for topic, until in self._paused.items() if until <= tick]
        for topic in over:
            del self._paused[topic]
        if over and self._connected:
            self._subscribe(client)

    def _say(self, link: Link, words: str, not_allowed: tuple[str, ...] = ()) -> None:
        if (self._state.link, self._state.words) == (link, words):
            return
        protocol = _PROTOCOL_NAME[self._protocol] if link is Link.CONNECTED else ""
        self._state = BrokerState(
            link=link,
            words=words,
            since=self._clock(),
            protocol=protocol,
            not_allowed=not_allowed,
        )
        self._on_state(self._state)
