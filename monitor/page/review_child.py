"""The child process that reckons and draws for the Record screen: `python -m
monitor.page.review_child`. Started and ended by `review_worker`.

Each request on the standard input is a length and a pickle of (function, arguments), each answer
on the standard output a length and a pickle of ("done", value) or ("objection", words)."""

import os
import pickle
import struct
import sys
from typing import Any, BinaryIO

LENGTH = struct.Struct("!I")
_NICENESS = 10  # pictures can wait for the watch, never the other way round


def _main(requests: BinaryIO, answers: BinaryIO) -> None:
    os.nice(_NICENESS)
    from monitor.journal.records import StorageFault  # noqa: PLC0415
    from monitor.page import review_work  # noqa: PLC0415 - numpy comes in here, and only here
    from monitor.review.draw import NotDrawn  # noqa: PLC0415
    from monitor.review.journal_view import NotFound  # noqa: PLC0415

    while head := requests.read(LENGTH.size):
        name, arguments = pickle.loads(requests.read(*LENGTH.unpack(head)))  # noqa: S301 - our own parent
        answer: tuple[str, Any]
        try:
            answer = ("done", getattr(review_work, name)(*arguments))
        except (NotFound, NotDrawn, StorageFault) as words:
            answer = ("objection", str(words))
        said = pickle.dumps(answer)
        answers.write(LENGTH.pack(len(said)) + said)
        answers.flush()


if __name__ == "__main__":
    _main(sys.stdin.buffer, sys.stdout.buffer)
