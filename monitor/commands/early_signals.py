"""What signals do to `brooder watch` until it watches. There is nothing to bring to an end yet, but
it does not go without a word; what asks for a reload would end it, and is done once it watches. And
as the first process of a container it hears only the signals that it asks for."""

import os
import signal
import sys

_asked: list[int] = []


def heed() -> None:
    """From now on, until the running service asks for the signals itself."""
    signal.signal(signal.SIGTERM, _end)
    signal.signal(signal.SIGINT, _end)
    signal.signal(signal.SIGHUP, lambda number, _frame: _asked.append(number))


def reload_asked() -> bool:
    """Was a reload asked for meanwhile?"""
    return bool(_asked)


def _end(number: int, _frame: object) -> None:
    os.write(2, f"Stopped by {signal.Signals(number).name} before it watched.\n".encode())
    sys.exit(0 if number == signal.SIGTERM else 128 + number)
