"""Does the event loop turn? Page, commands and the built-in broker live in it. Owned by `run`."""

import asyncio
import time

EVERY_S = 1.0
STANDS_AFTER_S = 30.0  # a page that takes long holds it up for a second or two


class Pulse:
    """Beats in the loop from `begin`; `alive` may be asked in any thread."""

    def __init__(self) -> None:
        self._last = time.monotonic()

    def begin(self, loop: asyncio.AbstractEventLoop) -> None:
        """Beats until the loop ends."""
        self._last = time.monotonic()
        loop.call_later(EVERY_S, self.begin, loop)

    def alive(self) -> bool:
        """Has it turned lately?"""
        return time.monotonic() - self._last < STANDS_AFTER_S
