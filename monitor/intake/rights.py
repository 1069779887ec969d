"""Who may publish and read what on the built-in broker, from the very files Mosquitto uses.

Password file: lines of `mosquitto_passwd` ($7$: PBKDF2-SHA512; $6$: SHA-512 with salt).
Rights file: `user`, `topic [read|write|readwrite|deny] FILTER` and `pattern` lines as in
mosquitto.conf(5). Without one, an account named after a probe may publish that probe's topic, one
named after a box those of its probes, and nobody anything else."""

import base64
import binascii
import hashlib
import hmac
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from monitor.intake.topics import Sensor, filter_fault, matches
from monitor.site import Meter, plain


class RightsFault(ValueError):
    """A line of a file that cannot be used; the message names file, line and mend."""


@dataclass(frozen=True, slots=True)
class _Rule:
    filter: str
    read: bool
    write: bool
    deny: bool


@dataclass(slots=True)
class Rights:
    _hashes: dict[str, str] = field(default_factory=dict)
    _rules: dict[str | None, list[_Rule]] | None = None
    _patterns: list[_Rule] = field(default_factory=list)

    _own: Mapping[str, frozenset[str]] = field(default_factory=dict)  # by name, without a file

    @classmethod
    def from_files(
        cls, password_file: Path, rights_file: Path | None = None, probes: Iterable[Sensor] = ()
    ) -> "Rights":
        """Read both. Raises RightsFault or OSError."""
        rights = cls(_hashes=_read_passwords(password_file))
        rights.know(probes)
        if rights_file is not None:
            rights._rules, rights._patterns = _read_rules(rights_file)
        return rights

    def know(self, probes: Iterable[Sensor]) -> None:
        """These are the site's probes and meters from now on."""
        own: dict[str, set[str]] = {}
        for probe in probes:
            for account in accounts_of(probe):
                own.setdefault(plain(account), set()).add(probe.topic)
        self._own = {account: frozenset(topics) for account, topics in own.items()}

    @property
    def accounts(self) -> tuple[str, ...]:
        return tuple(self._hashes)

    def password_ok(self, user: str | None, password: str | None) -> bool:
        """Is this user known by this password? Nobody gets in without one."""
        stored = self._hashes.get(user or "")
        return stored is not None and _password_matches(stored, password or "")

    def may_write(self, user: str | None, client_id: str, topic: str) -> bool:
        return self._may(user, client_id, topic, write=True)

    def may_read(self, user: str | None, client_id: str, topic: str) -> bool:
        return self._may(user, client_id, topic, write=False)

    def _may(self, user: str | None, client_id: str, topic: str, *, write: bool) -> bool:
        if self._rules is None:
            return write and topic in self._own.get(plain(user or ""), ())
        rules = [
            *self._rules.get(user, ()),
            *(_filled(rule, user or "", client_id) for rule in self._patterns),
        ]
        matching = [rule for rule in rules if matches(rule.filter, topic)]
        if any(rule.deny for rule in matching):
            return False
        return any(rule.write if write else rule.read for rule in matching)


def accounts_of(probe: Sensor) -> tuple[str, ...]:
    """The names that an account of this probe may have where there is no rights file: `porch-floor`
    or `porch`; of a probe of the site, `shade`. The first is the one that `probes add` gives."""
    own = probe.title if isinstance(probe, Meter) else probe.name
    name, box = plain(own), plain(probe.brooder or "")
    return (name,) if probe.brooder is None else (f"{box}-{name}", box)


def _filled(rule: _Rule, user: str, client_id: str) -> _Rule:
    # A name with a wildcard or a level of its own must not widen the pattern.
    if any(char in name for name in (user, client_id) for char in "+#/"):
        return _Rule("", False, False, False)
    return _Rule(
        rule.filter.replace("%u", user).replace("%c", client_id), rule.read, rule.write, rule.deny
    )


def _lines(path: Path) -> list[str]:
    if path.exists() and not path.is_file():  # a pipe would hold the start for ever
        raise RightsFault(f"{path} is a device, a pipe or a folder; name a regular file")
    return path.read_text(encoding="utf-8", errors="replace").splitlines()


def _read_passwords(path: Path) -> dict[str, str]:
    hashes = {}
    for number, line in enumerate(_lines(path), 1):
        if not line.strip() or line.startswith("#"):
            continue
        user, colon, stored = line.strip().partition(":")
        if not colon or stored.split("$")[1:2] not in (["6"], ["7"]):
            raise RightsFault(f"{path}, line {number}: not a line of mosquitto_passwd")
        hashes[user] = stored
    return hashes


def _password_matches(stored: str, password: str) -> bool:
    try:
        match stored.split("$")[1:]:
            case ["7", iterations, salt, digest]:
                made = hashlib.pbkdf2_hmac(
                    "sha512", password.encode(), base64.b64decode(salt), int(iterations), 64
                )
            case ["6", salt, digest]:
                made = hashlib.sha512(password.encode() + base64.b64decode(salt)).digest()
            case _:
                return False
        return hmac.compare_digest(made, base64.b64decode(digest))
    except (ValueError, binascii.Error):
        return False


def _read_rules(path: Path) -> tuple[dict[str | None, list[_Rule]], list[_Rule]]:
    rules: dict[str | None, list[_Rule]] = {None: []}
    patterns: list[_Rule] = []
    user: str | None = None
    for number, line in enumerate(_lines(path), 1):
        word, _, rest = line.strip().partition(" ")
        rest = rest.strip()
        if not word or word.startswith("#"):
            continue
        if word == "user" and rest:
            user = rest
            rules.setdefault(user, [])
        elif word in ("topic", "pattern") and rest:
            rule = _rule(rest)
            if fault := filter_fault(rule.filter):
                raise RightsFault(f"{path}, line {number}: topic filter {rule.filter!r} {fault}")
            (rules[user] if word == "topic" else patterns).append(rule)
        else:
            raise RightsFault(
                f"{path}, line {number}: {line.strip()!r} is not user, topic or pattern"
            )
    return rules, patterns


def _rule(text: str) -> _Rule:
    access, _, pattern = text.partition(" ")
    if access not in ("read", "write", "readwrite", "deny"):
        access, pattern = "readwrite", text
    return _Rule(
        pattern.strip(),
        read=access in ("read", "readwrite"),
        write=access in ("write", "readwrite"),
        deny=access == "deny",
    )
