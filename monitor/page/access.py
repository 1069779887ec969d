"""Who may see the page: the passphrase, the names it answers to, the key of its cookies.
Made once at start by the service, with `prepare`; read by the gate and the sign-in.

Without a passphrase the page is for this machine alone and asks nobody to sign in."""

import hashlib
import hmac
import ipaddress
import logging
import secrets
import socket
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from argon2 import PasswordHasher
from argon2.exceptions import VerificationError

from monitor.doorway import THIS_MACHINE
from monitor.tell.links import load_key

# 32 MiB, three passes, one lane: above the least that password guidance asks (19 MiB and two
# passes; from memory), and still under a second on a small board.
_HASHER = PasswordHasher(time_cost=3, memory_cost=32 * 1024, parallelism=1)
log = logging.getLogger(__name__)


class AccessFault(ValueError):
    """The page would be open to people it is not meant for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Access:
    """Who may see the page. `hosts` are the names it may be asked by, in lower case; addresses
    written as numbers are always allowed, since only a name can be pointed at us from elsewhere."""

    passphrase_hash: str | None
    key: bytes = field(repr=False)
    hosts: frozenset[str] = THIS_MACHINE
    proxies: frozenset[str] = frozenset()  # addresses whose word about the caller is believed
    folder: Path | None = None  # where the list of ended sessions is kept; None: in memory only

    @classmethod
    def prepare(
        cls,
        *,
        folder: Path,
        passphrase: str | None = None,
        listen: str = "127.0.0.1",
        hosts: tuple[str, ...] = (),
        public_url: str | None = None,
        behind_proxy: bool = False,
        proxy_address: str = "127.0.0.1",
    ) -> "Access":
        """From the settings. Keeps the signing key in `folder`, so that a restart signs nobody out;
        a changed passphrase does. Raises AccessFault when the page would be open to the network."""
        if passphrase is None and behind_proxy:
            raise AccessFault(
                "page.behind_proxy opens the page to the network, which needs page.passphrase_file"
            )
        if passphrase is None and listen not in THIS_MACHINE:
            raise AccessFault(
                f'page.listen = "{listen}" opens the page to the network, which needs '
                'page.passphrase_file; or write listen = "127.0.0.1"'
            )
        names = {*THIS_MACHINE, *(name.lower() for name in hosts)}
        if passphrase is not None:
            own = socket.gethostname().lower()
            names |= {own, f"{own}.local"}
        if public_url and (public_name := urlsplit(public_url).hostname):
            names.add(public_name)
        return cls(
            passphrase_hash=None if passphrase is None else _HASHER.hash(passphrase),
            key=hmac.digest(_key(folder), (passphrase or "").encode(), hashlib.sha256),
            hosts=frozenset(names),
            proxies=_proxies(proxy_address) if behind_proxy else frozenset(),
            folder=folder,
        )

    @property
    def needs_sign_in(self) -> bool:
        """Is there a passphrase?"""
        return self.passphrase_hash is not None

    def is_passphrase(self, said: str) -> bool:
        """Is that the passphrase? Slow on purpose: call it in a thread."""
        if self.passphrase_hash is None:
            return False
        try:
            return _HASHER.verify(self.passphrase_hash, said)
        except VerificationError:
            return False

    def answers_to(self, host_header: str) -> bool:
        """May the page be asked by this Host header? A name that is not ours is refused, because a
        stranger's web page could have pointed it at this machine."""
        try:
            name = urlsplit(f"//{host_header}").hostname
        except ValueError:
            return False
        if not name:
            return False
        if name in self.hosts:
            return True
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return False
        return True


def _proxies(address: str) -> frozenset[str]:
    """A proxy on this board may ask by either of its loopback addresses."""
    return frozenset({"127.0.0.1", "::1"} if address in THIS_MACHINE else {address})


def _key(folder: Path) -> bytes:
    """On a disk that cannot be written the page works all the same; only a restart then signs
    everybody out."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return load_key(folder, "page.key")
    except OSError as fault:
        log.warning("The page's key could not be kept; a restart will sign out: %s", fault)
        return secrets.token_bytes(32)
