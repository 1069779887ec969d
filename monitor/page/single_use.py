"""So that a thumb that taps twice writes once. Called by every screen that changes something."""

import secrets
from collections import OrderedDict

_MOST = 500


class SingleUse:
    """Hands out marks for confirmation forms, and knows what became of each."""

    def __init__(self) -> None:
        self._used: OrderedDict[str, str] = OrderedDict()

    def mark(self) -> str:
        return secrets.token_urlsafe(12)

    def used(self, mark: str) -> str | None:
        """Where its first use led to; None: it is new, and is used from now on."""
        if mark in self._used:
            return self._used[mark]
        self._used[mark] = ""
        while len(self._used) > _MOST:
            self._used.popitem(last=False)
        return None

    def led_to(self, mark: str, address: str) -> None:
        """Its use succeeded."""
        if mark in self._used:
            self._used[mark] = address

    def free(self, mark: str) -> None:
        """Its use came to nothing: it may be used again."""
        self._used.pop(mark, None)
