"""The picture that goes with an alert: the last twelve hours of one box, as a PNG for a phone.

`python -m monitor.review.attachment` is the child that the service starts and never waits for: it
takes journal, site, box, the moment (Unix s) and a folder pickled on its standard input, so that
neither numpy nor the drawing library is ever loaded by the watch. It prints the picture's path, or
one line why there is none."""

import os
import pickle
import sys
from pathlib import Path

from monitor.journal.reader import JournalReader
from monitor.review.chart import describe
from monitor.review.draw import NotDrawn, draw
from monitor.review.record import Asked, NotFound, open_record
from monitor.review.scenes import scene
from monitor.site import Site

HOURS = 12


def twelve_hours(kept: JournalReader, site: Site, brooder: str, until: float, folder: Path) -> Path:
    """Draws the twelve hours before `until` into the folder. Raises NotFound, NotDrawn."""
    start = until - HOURS * 3600
    record = open_record(kept, site, Asked(brooder=brooder, start=start, stop=until), now=until)
    picture = draw(describe(scene(record, start, until)), "png")
    path = folder / f"{_plain(brooder)}-{until:.0f}.png"
    part = path.with_suffix(".part")  # whoever sees the path sees the whole picture
    part.write_bytes(picture)
    part.replace(path)
    return path


def _plain(name: str) -> str:
    return "".join(letter if letter.isalnum() else "-" for letter in name)


def _main() -> int:
    os.nice(10)  # a picture can wait for the watch, never the other way round
    journal, *asked = pickle.load(sys.stdin.buffer)  # noqa: S301 - from our own parent, by a pipe
    try:
        with JournalReader(journal) as reader:
            path = twelve_hours(reader, *asked)
    except (NotFound, NotDrawn, OSError) as fault:
        sys.stderr.write(f"{fault}\n")
        return 1
    sys.stdout.write(f"{path}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(_main())
