"""A port that strangers cannot fill. The built-in broker and the page listen by it.

Whoever connects is a stranger until the server knows them: by an account, or signed in. Strangers
have few places, each address fewer still, and where there is none left the one goes that has waited
longest of the address with the most. So whoever says at once what they want gets in, however many
connections somebody holds open, and neither descriptors nor the log run full."""

import asyncio
import ipaddress
import logging
import os
import resource
import socket
import ssl
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import KW_ONLY, dataclass
from functools import partial

# Where one listens, or is found, that nobody but this machine can reach.
THIS_MACHINE = frozenset({"127.0.0.1", "::1", "localhost"})

MOST_STRANGERS = 64
MOST_STRANGERS_EACH = 20  # of one address; a browser opens six at once
HANDSHAKE_WITHIN_S = 10.0
QUEUE = 128  # the kernel's, of those that are not accepted yet
SAY_EVERY_S = 60.0
TRY_AGAIN_S = 1.0

log = logging.getLogger(__name__)


class Caller:
    def __init__(self, doorway: "Doorway", address: str, line: socket.socket) -> None:
        self.address = address
        self._doorway = doorway
        self._line: socket.socket | None = line
        self._transport: asyncio.BaseTransport | None = None
        self._sent_away = False

    def is_known(self) -> None:
        """By an account, or signed in: no stranger takes its place."""
        self._doorway.forget(self)

    def left(self) -> None:
        """The connection is over. The protocol that was made for it says so."""
        self._doorway.forget(self)

    def send_away(self) -> None:
        self._sent_away = True
        if isinstance(self._transport, asyncio.WriteTransport):
            self._transport.abort()
        elif self._line is not None:  # in the middle of its handshake
            with suppress(OSError):
                self._line.shutdown(socket.SHUT_RDWR)

    async def be_served(
        self,
        protocol: Callable[[], asyncio.BaseProtocol],
        certificate: ssl.SSLContext | None,
    ) -> None:
        if self._line is None:
            return
        if self._sent_away:
            self._line.close()
            return
        try:
            self._transport, _ = await asyncio.get_running_loop().connect_accepted_socket(
                protocol,
                self._line,
                ssl=certificate,
                ssl_handshake_timeout=HANDSHAKE_WITHIN_S if certificate else None,
            )
        except (OSError, TimeoutError):  # of TLS: whatever a stranger says is no fault of ours
            self._line.close()
            self.left()
        finally:
            self._line = None


@dataclass(eq=False, repr=False)
class Doorway:
    """Accepts connections on one listening socket."""

    what: str  # for the log
    listener: socket.socket
    protocol: Callable[[Caller], asyncio.BaseProtocol]
    _: KW_ONLY
    certificate: ssl.SSLContext | None = None
    trusted: Callable[[str], bool] = lambda _address: False  # of a proxy, say

    def __post_init__(self) -> None:
        # Where descriptors are few, most are left for the watch and for what tells people.
        room = max(8, resource.getrlimit(resource.RLIMIT_NOFILE)[0] // 10)
        self._most = min(MOST_STRANGERS, room)
        self._strangers: dict[Caller, str] = {}  # in the order in which they came
        self._beginning: set[asyncio.Task[None]] = set()
        self._turned_away: Counter[str] = Counter()
        self._report: asyncio.TimerHandle | None = None
        self._loop = asyncio.get_running_loop()
        self._spare: int | None = None
        self._keep_spare()

    @property
    def sockets(self) -> tuple[socket.socket, ...]:
        return (self.listener,)

    def open(self) -> None:
        self.listener.setblocking(False)
        self.listener.listen(QUEUE)
        self._loop.add_reader(self.listener.fileno(), self._accept)

    def close(self) -> None:
        """Accepts no more; who is in stays."""
        if self.listener.fileno() >= 0:
            self._loop.remove_reader(self.listener.fileno())
            self.listener.close()
        for task in self._beginning:
            task.cancel()
        if self._spare is not None:
            os.close(self._spare)
            self._spare = None

    async def wait_closed(self) -> None:
        """Does nothing; asyncio's own servers have it."""

    def forget(self, caller: Caller) -> None:
        """Counts it among the strangers no longer."""
        self._strangers.pop(caller, None)

    def _accept(self) -> None:
        for _ in range(QUEUE):  # then the watch's own work has its turn
            try:
                line, peer = self.listener.accept()
            except (BlockingIOError, InterruptedError, ConnectionAbortedError):
                return
            except OSError:
                self._turn_away_unseen()
                return
            line.setblocking(False)
            address = household(str(peer[0]))
            caller = Caller(self, address, line)
            if not self.trusted(address):
                self._strangers[caller] = address
                self._make_room(address)
            serving = caller.be_served(partial(self.protocol, caller), self.certificate)
            task = self._loop.create_task(serving)
            self._beginning.add(task)
            task.add_done_callback(self._beginning.discard)

    def _make_room(self, address: str) -> None:
        """For the newest, which came from this address."""
        each = Counter(self._strangers.values())
        if each[address] > min(MOST_STRANGERS_EACH, self._most):
            crowd = address
        elif len(self._strangers) > self._most:
            crowd = each.most_common(1)[0][0]
        else:
            return
        oldest = next(caller for caller, of in self._strangers.items() if of == crowd)
        self.forget(oldest)
        oldest.send_away()
        self._note(crowd)

    def _turn_away_unseen(self) -> None:
        """No descriptor is left. The spare one is for ending the call, so that it does not knock
        on and on; then it is quiet for a moment."""
        if self._spare is not None:
            os.close(self._spare)
            self._spare = None
            with suppress(OSError):
                line, peer = self.listener.accept()
                line.close()
                self._note(household(str(peer[0])))
        self._keep_spare()
        self._loop.remove_reader(self.listener.fileno())
        self._loop.call_later(TRY_AGAIN_S, self._again)

    def _again(self) -> None:
        if self.listener.fileno() >= 0:
            self._loop.add_reader(self.listener.fileno(), self._accept)

    def _keep_spare(self) -> None:
        with suppress(OSError):
            self._spare = os.open(os.devnull, os.O_RDONLY | os.O_CLOEXEC)

    def _note(self, address: str) -> None:
        self._turned_away[address] += 1
        if self._report is None:
            self._say()

    def _say(self) -> None:
        """The first at once, the others together."""
        self._report = None
        if self._turned_away:
            address, _ = self._turned_away.most_common(1)[0]
            log.warning(
                "Connections to the %s that said nothing were ended: %d, most from %s.",
                self.what,
                self._turned_away.total(),
                address,
            )
            self._turned_away.clear()
            self._report = self._loop.call_later(SAY_EVERY_S, self._say)


def household(address: str) -> str:
    """What counts as one address: an IPv6 household has a whole /64 to choose from."""
    try:
        parsed = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(parsed, ipaddress.IPv6Address):
        if parsed.ipv4_mapped is not None:
            return str(parsed.ipv4_mapped)
        if not parsed.is_loopback:
            return str(ipaddress.ip_network((parsed, 64), strict=False).network_address)
    return str(parsed)


def listening_socket(host: str, port: int) -> socket.socket:
    """Bound to one address. Raises OSError (socket.gaierror among them)."""
    family, kind, protocol, _, address = socket.getaddrinfo(
        host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
    )[0]
    listener = socket.socket(family, kind, protocol)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(address)
        listener.listen(QUEUE)
    except OSError:
        listener.close()
        raise
    return listener
