"""Sessions as signed cookies, and the token that ties a form to one. Called by the gate and forms.

A session is a random name, signed with its time; nothing about it is kept here but the names of
those that were ended, so that a copied cookie is worth nothing after signing out."""

import hashlib
import hmac
import json
import logging
import secrets
from dataclasses import dataclass
from pathlib import Path

from itsdangerous import BadData, URLSafeTimedSerializer

from monitor.journal.ownership import write_whole
from monitor.page.access import Access

COOKIE = "brooder_session"
LASTS_S = 30 * 86400  # a grower signs in once a batch, not once a night
RENEW_AFTER_S = 86400
_MOST_ENDED = 1000

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class BrowserSession:
    """One browser. `fresh`: its cookie has to be sent (again)."""

    name: str
    signed_in: bool
    fresh: bool = False


class BrowserSessions:
    def __init__(self, access: Access) -> None:
        self._key = access.key
        self._serializer = URLSafeTimedSerializer(access.key, salt="session")
        self._file: Path | None = access.folder / "page-ended.json" if access.folder else None
        self._ended: dict[str, float] = _read(self._file)

    def begin(self, *, signed_in: bool) -> BrowserSession:
        """A new one, with a name nobody can guess."""
        return BrowserSession(name=secrets.token_urlsafe(18), signed_in=signed_in, fresh=True)

    def read(self, cookie: str | None, now: float) -> BrowserSession | None:
        """The session of a cookie; None when it is not ours, too old or ended."""
        if not cookie or len(cookie) > 512:
            return None
        try:
            said, stamped = self._serializer.loads(cookie, return_timestamp=True)
            name, signed_in = str(said["s"]), bool(said["in"])
        except (BadData, KeyError, TypeError):
            return None
        # From the future it is just made: a board without a battery clock has booted behind.
        age_s = max(0.0, now - stamped.timestamp())
        if age_s > LASTS_S or hashed(name) in self._ended:
            return None
        return BrowserSession(name=name, signed_in=signed_in, fresh=age_s > RENEW_AFTER_S)

    def written(self, session: BrowserSession) -> str:
        return str(self._serializer.dumps({"s": session.name, "in": session.signed_in}))

    def end(self, session: BrowserSession, now: float) -> None:
        self._ended = {name: at for name, at in self._ended.items() if now - at < LASTS_S}
        self._ended[hashed(session.name)] = now
        while len(self._ended) > _MOST_ENDED:
            self._ended.pop(next(iter(self._ended)))
        if self._file is not None:
            try:
                write_whole(self._file, json.dumps(self._ended).encode())
            except OSError as fault:
                log.warning("A sign-out could not be kept beyond a restart: %s", fault.strerror)

    def form_token(self, session: BrowserSession) -> str:
        """What every form of this session carries: a form made elsewhere cannot know it."""
        return hmac.new(self._key, f"form:{session.name}".encode(), hashlib.sha256).hexdigest()

    def is_form_token(self, session: BrowserSession, said: str) -> bool:
        return hmac.compare_digest(self.form_token(session).encode(), said.encode())


def hashed(name: str) -> str:
    """A session's name as it is kept on disk: useless to whoever reads the file."""
    return hashlib.sha256(name.encode()).hexdigest()


def _read(path: Path | None) -> dict[str, float]:
    if path is None:
        return {}
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        return {str(name): float(at) for name, at in kept.items()}
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, AttributeError, TypeError) as fault:
        log.warning("The list of ended sessions could not be read, it starts empty: %s", fault)
        return {}
