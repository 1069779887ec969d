"""What is said about the broker, and what every way to a broker offers. Used by
intake.broker_session, intake.builtin, and the service that holds one of the two."""

import socket
import ssl
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Protocol

from monitor.events import Moment
from monitor.intake.inbox import AckToken


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerAddress:
    """Where the broker is and how to get in. The password never shows in a repr."""

    host: str
    port: int = 0  # 0: 1883, or 8883 with TLS
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False
    ca_file: str | None = None  # None: the system's certificates

    @property
    def real_port(self) -> int:
        """The port, with the standard one filled in."""
        return self.port or (8883 if self.tls else 1883)

    def __str__(self) -> str:
        return f"{self.host}:{self.real_port}"


class Link(StrEnum):
    """How things stand with the broker."""

    CONNECTING = "connecting"
    CONNECTED = "connected"
    LOST = "lost"  # was connected
    UNREACHABLE = "unreachable"  # no network, no name, nobody listening, wrong certificate
    REFUSED = "refused"  # reached, and turned away
    TAKEN_OVER = "taken-over"  # another service uses our client id; we go on under another
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerState:
    """One state, said once at its beginning."""

    link: Link
    words: str  # one clause for the grower
    since: Moment
    protocol: str = ""  # "MQTT 5" or "MQTT 3.1.1" when connected
    not_allowed: tuple[str, ...] = ()  # topics the broker will not let us read

    @property
    def connected(self) -> bool:
        """Can readings come?"""
        return self.link is Link.CONNECTED


class BrokerLink(Protocol):
    """What the service needs of a broker, its own or another's. All of it may be called from any
    thread, and none of it waits for the network."""

    @property
    def state(self) -> BrokerState:
        """How the connection stands now."""

    @property
    def window(self) -> int:
        """Deliveries the broker sends before it waits for acknowledgements: commit before this
        many are open, or nothing more comes."""

    @property
    def hold_s(self) -> float:
        """How long an acknowledgement may be held back for the sake of the card."""

    def acknowledge(self, tokens: Iterable[AckToken | None]) -> int:
        """Tell the broker that these are on disk; tokens of an earlier connection are dropped.
        How many were sent."""

    def publish(self, topic: str, payload: bytes | str, qos: int = 1, retain: bool = False) -> bool:
        """Send, or keep for the next connection (bounded). False: dropped."""

    def set_topics(self, topics: Sequence[str]) -> None:
        """Read these topics from now on (a reload)."""

    def keep_going(self) -> None:
        """Called now and then: mends what can have died unnoticed."""


def words_for_failure(address: BrokerAddress, error: BaseException | None) -> str:
    """Why no connection came about, for the grower."""
    where = str(address)
    match error:
        case ssl.SSLCertVerificationError():
            words = f"the certificate of {where} is not trusted ({error.verify_message})"
        case ssl.SSLError():
            words = f"{where} does not speak TLS as expected ({error.reason or error})"
        case socket.gaierror():
            words = f"the name {address.host} is not known on this network"
        case ConnectionRefusedError():
            words = f"nothing answers at {where}: is the broker running?"
        case TimeoutError():
            words = f"{where} does not answer in time"
        case None:
            words = f"{where} cannot be reached"
        case _:
            words = f"{where} cannot be reached ({error})"
    return words
