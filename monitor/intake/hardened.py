"""amqtt's broker with the edges that a night on a home network needs. Used by intake.builtin alone.

What is added: a publisher's acknowledgement waits for the journal (`BuiltInBroker.admit`), nobody
touches a session before the password is known to be right, rights, silent clients are dropped, and
packets, sessions, retained messages, subscriptions and queues are bounded. amqtt's protected
methods named here are pinned by tests/live/test_intake_builtin.py."""

import asyncio
import contextlib
import logging
import socket
import ssl
from collections import deque
from collections.abc import Awaitable, Callable
from contextlib import suppress
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple

from amqtt.broker import Broker, Server
from amqtt.contexts import Action, BrokerConfig, ListenerConfig, ListenerType
from amqtt.errors import AMQTTError, ProtocolHandlerError
from amqtt.mqtt.connack import (
    IDENTIFIER_REJECTED,
    NOT_AUTHORIZED,
    SERVER_UNAVAILABLE,
    ConnackPacket,
)
from amqtt.mqtt.disconnect import DisconnectPacket
from amqtt.mqtt.protocol.broker_handler import BrokerProtocolHandler
from amqtt.mqtt.publish import PublishPacket
from amqtt.session import OutgoingApplicationMessage, Session

from monitor.bounded import Bounded
from monitor.doorway import Caller, Doorway, listening_socket
from monitor.intake.bounded_stream import BoundedReader, BoundedWriter
from monitor.intake.topics import topic_fault
from monitor.intake.unsent import EACH, MOST_OF_ALL, MOST_OF_ONE, Unsent

if TYPE_CHECKING:
    from monitor.intake.builtin import BuiltInBroker

log = logging.getLogger(__name__)

REFUSED_MQTT5 = bytes([0x20, 3, 0, 0x84, 0])  # CONNACK, unsupported protocol version
FIRST_PACKET_WITHIN_S = 10.0
END_WITHIN_S = 5.0  # for a connection that a newer one replaces, and for all of them at a stop
MOST_CONNECTIONS = 100
MOST_OF_ONE_ACCOUNT = 20
MOST_SESSIONS = 200  # with those that are kept for clients that went away
LONGEST_NAME = 256  # of a client; MQTT 3.1.1, section 3.1.3.1, asks for 23
MOST_RETAINED = 500
LARGEST_RETAINED = 4096
MOST_SUBSCRIPTIONS = 50  # of one client
READ_WITHIN_S = 30.0  # a client that has not taken a message by then does not read
PIECE = 64 * 1024  # of what is sent at once to a client that has just come
SESSION_EXPIRY_S = 7 * 86400
BEGAN = "brooder.began"  # attribute of a session: the last connection of its name that was clean
NAME = "brooder.name"  # attribute of a session: the client id as the client gave it
KEPT = "brooder.kept"  # attribute of a session: bytes that wait for its client to come back


class _Refused(Exception):
    """Turned away with this code of CONNACK."""


class Overrun(Exception):
    """The journal is too far behind: end the connection, the probe will send again."""


class _Handler(BrokerProtocolHandler):  # type: ignore[misc]
    gate: "BuiltInBroker"
    connection: int
    ended: asyncio.Event
    unsent: Unsent
    drop: Callable[[int], None]  # ends a connection, this or another
    _left = False
    _farewell: DisconnectPacket | None = None

    async def handle_publish(self, publish_packet: PublishPacket) -> None:
        if self.session is None:
            return
        try:
            # amqtt acknowledges in super(), so everything before it holds the PUBACK back.
            await self.gate.admit(self.connection, self.session, publish_packet)
        except Overrun:
            await self.handle_connection_closed()
            return
        # The connection may have ended under it: not acknowledged, so it comes again.
        with contextlib.suppress(ProtocolHandlerError):
            await super().handle_publish(publish_packet)

    async def mqtt_publish(
        self,
        topic: str,
        data: bytes | bytearray,
        qos: int | None,
        retain: bool,
        ack_timeout: int | None = None,
    ) -> OutgoingApplicationMessage:
        for connection in self.unsent.add(self.connection, len(data)):
            self.drop(connection)
        limit = asyncio.timeout(READ_WITHIN_S)
        try:
            async with limit:
                return await super().mqtt_publish(topic, data, qos, retain, ack_timeout)
        finally:
            self.unsent.done(self.connection, len(data))
            if limit.expired():
                self.drop(self.connection)

    async def handle_disconnect(self, disconnect: DisconnectPacket | None) -> None:
        # A client that leaves in its first milliseconds does so before amqtt listens for it; its
        # session would count as connected for ever.
        if not self._left:
            self._left, self._farewell = True, disconnect
        await super().handle_disconnect(disconnect)

    async def wait_disconnect(self) -> DisconnectPacket | None:
        return self._farewell if self._left else await super().wait_disconnect()

    def handle_read_timeout(self) -> None:
        # amqtt itself only notes it. MQTT 3.1.1, 3.1.2.10: the server must disconnect.
        self._closing = asyncio.ensure_future(self.handle_connection_closed())


class _BrokerConnection(asyncio.StreamReaderProtocol):
    """One connection, from the doorway on."""

    def __init__(
        self,
        reader: asyncio.StreamReader,
        serve: Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]],
        caller: Caller,
    ) -> None:
        super().__init__(reader, serve)
        self._caller = caller

    def connection_lost(self, exc: Exception | None) -> None:
        self._caller.left()
        super().connection_lost(exc)


class HardenedBroker(Broker):  # type: ignore[misc]
    """amqtt's broker, bounded, with a gate."""

    def __init__(self, listener: ListenerConfig, gate: "BuiltInBroker") -> None:
        listener.max_connections = -1  # amqtt would let them wait, the doorway and we do not
        super().__init__(
            BrokerConfig(
                listeners={"default": listener},
                plugins={},
                session_expiry_interval=SESSION_EXPIRY_S,
            )
        )
        self._gate = gate
        self._connections = 0
        self._unsent = Unsent()
        self._many_sendings = 1000
        self._began: Bounded[str, int] = Bounded(2 * MOST_SESSIONS)  # by client name, see BEGAN

    @property
    def port(self) -> int:
        return int(self._servers["default"].instance.sockets[0].getsockname()[1])

    async def shutdown(self) -> None:
        """Ends every connection. amqtt waits for each reader without end, and in Python 3.11 a
        reader that has just got something may overhear that it is to stop."""
        handlers = [handler for _, handler in self._sessions.values()]
        ending = asyncio.ensure_future(super().shutdown())
        done, _ = await asyncio.wait([ending], timeout=END_WITHIN_S)
        if not done:
            for handler in handlers:
                if handler is not None and handler.writer is not None:
                    handler.writer.abort()
        await ending

    async def _create_server_instance(
        self,
        listener_name: str,
        listener_type: ListenerType,
        address: str | None,
        port: int,
        ssl_context: ssl.SSLContext | None,
    ) -> Doorway:
        def line(caller: Caller) -> asyncio.BaseProtocol:
            reader = asyncio.StreamReader()

            async def serve(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
                await self._serve(reader, writer, caller, listener_name)

            return _BrokerConnection(reader, serve, caller)

        listener = listening_socket(address or "", port)
        doorway = Doorway("built-in broker", listener, line, certificate=ssl_context)
        doorway.open()
        return doorway

    async def _serve(
        self,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
        caller: Caller,
        listener_name: str,
    ) -> None:
        stream = writer.get_extra_info("socket")
        if stream is not None:  # a client without keep-alive that vanished is found out as well
            stream.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        await self._client_connected(
            listener_name, BoundedReader(reader), BoundedWriter(writer, caller)
        )

    async def _initialize_client_session(
        self,
        reader: BoundedReader,
        writer: BoundedWriter,
        remote_address: str,
        remote_port: int,
    ) -> tuple[BrokerProtocolHandler, Session]:
        # Not amqtt's own: that ends or takes over the session of the name before it asks for the
        # password, so that anybody could throw anybody out.
        try:
            async with asyncio.timeout(FIRST_PACKET_WITHIN_S):
                await _refuse_mqtt5(reader, writer)
                _, asked = await BrokerProtocolHandler.init_from_connect(
                    reader, writer, self.plugins_manager
                )
            client = await self._let_in(asked)
            writer.caller.is_known()
        except _Refused as refused:
            writer.write(ConnackPacket.build(0, refused.args[0]).to_bytes())
            await writer.close()
            raise AMQTTError("refused") from refused
        except Exception as error:
            # Whatever a stranger sends first must cost no more than its own connection.
            await writer.close()
            raise AMQTTError(str(error)) from error
        client.keep_alive = int(client.keep_alive * 1.5)  # the grace MQTT gives
        handler = _Handler(self.plugins_manager, loop=self._loop)
        self._connections += 1
        handler.gate, handler.connection = self._gate, self._connections
        client.attributes[BEGAN] = self._began_with(client, self._connections)
        handler.ended = asyncio.Event()
        handler.unsent, handler.drop = self._unsent, self._drop
        reader.on_too_large = partial(self._gate.too_large, client)
        return handler, client

    def _began_with(self, client: Session, connection: int) -> int:
        """Also for a client that goes on without a clean session after one that was: the
        identifiers it used before that one are void."""
        name = str(client.client_id)
        if client.clean_session:
            self._began[name] = connection
        return self._began.get(name, 0)

    def _drop(self, connection: int) -> None:
        for _, handler in list(self._sessions.values()):
            if handler.connection == connection and handler.writer is not None:
                handler.writer.abort()

    async def _let_in(self, asked: Session) -> Session:
        """The session that the client goes on with: its old one, or the new one `asked`. Nothing
        is awaited between the last look at the sessions and the return, after which amqtt notes
        the session as connected. Raises _Refused."""
        asked.is_anonymous = not asked.username
        if not self._gate.authenticate(asked):
            raise _Refused(NOT_AUTHORIZED)
        asked.password = None
        if len(asked.client_id) > LONGEST_NAME:
            raise _Refused(IDENTIFIER_REJECTED)
        # A client id belongs to its account: nobody throws out, keeps out or inherits from somebody
        # else by giving the same one.
        asked.attributes[NAME] = asked.client_id
        if asked.username:
            asked.client_id = f"{asked.username}\n{asked.client_id}"
        if asked.will_flag and not self._may_publish(asked, asked.will_topic):
            asked.will_flag, asked.will_topic, asked.will_message = False, None, None
        name = asked.client_id
        others = [
            session
            for session, _ in self._sessions.values()
            if session.transitions.is_connected() and session.client_id != name
        ]
        of_account = sum(other.username == asked.username for other in others)
        if len(others) >= MOST_CONNECTIONS or (
            asked.username and of_account >= MOST_OF_ONE_ACCOUNT
        ):
            raise _Refused(SERVER_UNAVAILABLE)
        while True:
            known, handler = self._sessions.get(name, (None, None))
            if known is None or not known.transitions.is_connected():
                break
            await _end(handler)  # MQTT 3.1.1, section 3.1.4: the newer connection stays
        if known is not None and not known.clean_session and not asked.clean_session:
            _renew(known, asked)
            return known
        await self._delete_session(name)
        if len(self._sessions) >= MOST_SESSIONS:
            await self._delete_session(self._longest_away())
        return asked

    def _may_publish(self, client: Session, topic: str | None) -> bool:
        right = topic is not None and topic_fault(topic) is None
        return right and self._gate.may(client, str(topic), Action.PUBLISH)

    def _longest_away(self) -> str:
        """The client whose session goes first; connections are fewer than sessions."""
        _, name = min(
            (session.last_disconnect_time or 0, str(name))
            for name, (session, _) in self._sessions.items()
            if not session.transitions.is_connected()
        )
        return name

    async def _handle_client_session(  # noqa: PLR0917 - as amqtt has it
        self,
        reader: BoundedReader,
        writer: BoundedWriter,
        client_session: Session,
        handler: _Handler,
        server: Server,
        listener_name: str,
    ) -> None:
        try:
            await super()._handle_client_session(
                reader, writer, client_session, handler, server, listener_name
            )
        finally:
            handler.ended.set()

    async def _authenticate(self, _session: Session, _: ListenerConfig) -> bool:
        return True  # nobody comes so far without: _let_in

    async def _topic_filtering(self, session: Session, topic: str, action: Action) -> bool:
        return self._gate.may(session, topic, action)

    async def add_subscription(self, subscription: tuple[str, int], session: Session) -> int:
        count = sum(
            any(one.client_id == session.client_id for one, _ in subscribers)
            for subscribers in self._subscriptions.values()
        )
        if count >= MOST_SUBSCRIPTIONS:
            return 0x80
        granted: int = await super().add_subscription(subscription, session)
        return granted

    async def _broadcast_message(
        self,
        session: Session | None,
        topic: str | None,
        data: bytes | bytearray | None,
        force_qos: int | None = None,
    ) -> None:
        # Of a client's message amqtt has asked already, of its last will it never does.
        if session is None or self._may_publish(session, topic):
            await super()._broadcast_message(session, topic, data, force_qos)

    async def retain_message(
        self,
        source_session: Session | None,
        topic_name: str | None,
        data: bytes | bytearray | None,
        qos: int | None = None,
    ) -> None:
        if source_session is not None and not self._may_publish(source_session, topic_name):
            return
        if source_session is not None and data:  # an empty one deletes
            new = topic_name not in self._retained_messages
            full = new and len(self._retained_messages) >= MOST_RETAINED
            if full or len(data) > LARGEST_RETAINED:
                log.debug("A retained message on %.80s was not kept.", topic_name)
                return
        await super().retain_message(source_session, topic_name, data, qos)

    async def _publish_retained_messages_for_subscription(
        self, subscription: tuple[str, int], session: Session
    ) -> None:
        # amqtt calls this for every filter anybody has when a client connects, and asks no rights.
        pattern, qos = subscription
        subscribers = self._subscriptions.get(pattern, ())
        handler = self._get_handler(session)
        if handler is None or all(one.client_id != session.client_id for one, _ in subscribers):
            return
        wanted = [
            _Message(topic, kept.data, min(qos, kept.qos or 0), retain=True)
            for topic, kept in list(self._retained_messages.items())
            if self._matches(topic, pattern) and self._gate.may(session, topic, Action.RECEIVE)
        ]
        await _send_in_pieces(handler, wanted)

    async def _retain_broadcast_message(
        self, broadcast: dict[str, Any], qos: int, target_session: Session
    ) -> None:
        """For a client that is away and has a lasting session."""
        kept = target_session.attributes.get(KEPT, 0) + len(broadcast["data"]) + EACH
        of_all = sum(one.attributes.get(KEPT, 0) for one, _ in self._sessions.values())
        if kept <= MOST_OF_ONE and of_all + len(broadcast["data"]) + EACH <= MOST_OF_ALL:
            target_session.attributes[KEPT] = kept
            await super()._retain_broadcast_message(broadcast, qos, target_session)

    async def _publish_session_retained_messages(self, session: Session) -> None:
        waiting = []
        while not session.retained_messages.empty():
            one = session.retained_messages.get_nowait()
            # The flag is for what was kept for new subscribers (MQTT 3.1.1, section 3.3.1.3).
            waiting.append(_Message(one.topic, one.data, one.qos or 0, retain=False))
        session.attributes[KEPT] = 0
        handler = self._get_handler(session)
        if handler is not None:
            await _send_in_pieces(handler, waiting)

    async def _run_broadcast(self, running_tasks: deque[asyncio.Task[Any]]) -> None:
        await super()._run_broadcast(running_tasks)
        # amqtt lets go of sendings in their order only: behind one that waits for a client, all
        # that were done since would stay, with their payloads.
        if len(running_tasks) >= self._many_sendings:
            open_still = []
            for sending in running_tasks:
                if not sending.done():
                    open_still.append(sending)
                elif not sending.cancelled():
                    sending.exception()  # seen
            running_tasks.clear()
            running_tasks.extend(open_still)
            self._many_sendings = 2 * len(open_still) + 1000


class _Message(NamedTuple):
    topic: str
    data: bytes
    qos: int
    retain: bool


async def _send_in_pieces(handler: _Handler, messages: list[_Message]) -> None:
    """One piece after another: all at once they would look like a client that does not read."""
    piece, size = [], 0
    for message in messages:
        piece.append(handler.mqtt_publish(message.topic, message.data, message.qos, message.retain))
        size += len(message.data) + EACH
        if size >= PIECE or message is messages[-1]:
            await asyncio.gather(*piece, return_exceptions=True)
            piece, size = [], 0


async def _end(handler: _Handler) -> None:
    """Ends a connection, with its last will; returns when its session is free. Raises TimeoutError:
    the client may try again."""
    await handler.handle_connection_closed()
    with suppress(TimeoutError):
        async with asyncio.timeout(END_WITHIN_S):
            await handler.ended.wait()
            return
    if handler.writer is not None:
        handler.writer.abort()
    async with asyncio.timeout(END_WITHIN_S):
        await handler.ended.wait()


def _renew(known: Session, asked: Session) -> None:
    """What a new connection says about itself replaces what the one before said."""
    known.will_flag, known.will_topic = asked.will_flag, asked.will_topic
    known.will_message, known.will_qos = asked.will_message, asked.will_qos
    known.will_retain = asked.will_retain
    known.keep_alive = asked.keep_alive
    known.remote_address, known.remote_port = asked.remote_address, asked.remote_port
    known.parent = 1


async def _refuse_mqtt5(reader: BoundedReader, writer: BoundedWriter) -> None:
    # amqtt would take MQTT 5's properties for a name and wait for the rest of it.
    if await reader.protocol_level() == 5:
        writer.write(REFUSED_MQTT5)
        await writer.drain()
        raise AMQTTError("MQTT 5")
