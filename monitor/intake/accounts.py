"""Accounts and rights of a broker as text: the very files Mosquitto reads, and the built-in broker
too (see `rights`). Pure but for chance; called by `service.probe_accounts`."""

import base64
import hashlib
import secrets
from collections.abc import Sequence

# No two that look alike on paper or on a phone: it may be typed by hand. 16 of 31 are 79 bits.
_LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"
_LENGTH = 16
# As mosquitto_passwd writes it: rounds of PBKDF2-SHA512, bytes of salt. (Seen in what it writes.)
_ROUNDS, _SALT_BYTES = 101, 12


def new_password() -> str:
    """Sixteen letters and digits by chance."""
    return "".join(secrets.choice(_LETTERS) for _ in range(_LENGTH))


def hashed(password: str) -> str:
    """As it stands in the accounts file after the name and a colon."""
    salt = secrets.token_bytes(_SALT_BYTES)
    digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, _ROUNDS, 64)
    return f"$7${_ROUNDS}${base64.b64encode(salt).decode()}${base64.b64encode(digest).decode()}"


def with_account(text: str, name: str, stored: str) -> str:
    """The accounts file with this account in the place of an older one of its name."""
    kept = [line for line in text.splitlines() if line.partition(":")[0].strip() != name]
    return "".join(f"{line}\n" for line in [*kept, f"{name}:{stored}"])


def with_right(text: str, account: str, access: str, topic: str) -> str:
    """The rights file with one line more for this account, whose block is made where there is
    none. `access`: read, write or readwrite."""
    lines = text.splitlines()
    wanted = f"topic {access} {topic}"
    start = _block(lines, account)
    if start is None:
        gap = [""] if lines and lines[-1].strip() else []
        lines += [*gap, f"user {account}", wanted]
    else:
        end = start + 1
        while end < len(lines) and lines[end].split()[:1] in (["topic"], ["pattern"]):
            end += 1
        if wanted not in (line.strip() for line in lines[start:end]):
            lines.insert(end, wanted)
    return "".join(f"{line}\n" for line in lines)


def _block(lines: Sequence[str], account: str) -> int | None:
    for number, line in enumerate(lines):
        word, _, rest = line.strip().partition(" ")
        if word == "user" and rest.strip() == account:
            return number
    return None
