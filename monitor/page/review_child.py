"""The child process that works out and draws for the Record screen: `python -m
monitor.page.review_child`. Started and ended by `review_worker`.

Each request is a pickle of (function, arguments), each answer one of ("done", value) or
("objection", words)."""

import os
import pickle
import sys
from typing import BinaryIO

from monitor import child

_NICENESS = 10  # pictures can wait for the watch, never the other way round


def _main(requests: BinaryIO, answers: BinaryIO) -> None:
    os.nice(_NICENESS)
    from monitor.journal.records import StorageFault  # noqa: PLC0415
    from monitor.page import review_work  # noqa: PLC0415 - numpy comes in here, and only here
    from monitor.review.draw import NotDrawn  # noqa: PLC0415
    from monitor.review.record import NotFound  # noqa: PLC0415

    def reply(request: bytes) -> bytes:
        name, arguments = pickle.loads(request)  # noqa: S301 - our own parent
        try:
            return pickle.dumps(("done", getattr(review_work, name)(*arguments)))
        except (NotFound, NotDrawn, StorageFault) as words:
            return pickle.dumps(("objection", str(words)))

    child.answer(reply, requests, answers)


if __name__ == "__main__":
    _main(sys.stdin.buffer, sys.stdout.buffer)
