"""A batch's inputs as one row of the log, in their order. Called by `store`, for the tail, and by
`writing`, for the database; no SQL here."""

from typing import Any

from monitor.events import Moment, Reading
from monitor.journal import codec
from monitor.journal.records import Commit, Entered, Sample, WatcherFault
from monitor.journal.series import Series
from monitor.journal.tail import Row


class LogRow:
    """A row in the making."""

    def __init__(self, batch: Commit) -> None:
        now = batch.advanced_to or _moment_of(batch)
        self._at_ms, self._tick_ms = codec.to_ms(now.at), codec.to_ms(now.tick)
        self._marks = batch.redelivery_marks
        self._fresh: list[codec.Fresh] = []
        self.others: list[list[Any]] = []

    def reading(self, item: Reading, series: int) -> bool:
        """Adds a reading, unless it does not fit the compact form."""
        return self._add(item.at, item.tick, item.temp_c, stream_of(item, series))

    def sample(self, sample: Sample, series: int) -> bool:
        """Adds a derived number, unless it does not fit."""
        return self._add(sample.at, sample.at, sample.value, series * 4 + codec.SURE)

    def other(self, kind: str, at: float, tick: float, *rest: Any) -> None:
        """Adds whatever is no plain reading, with its place in the order."""
        place = len(self._fresh) + len(self.others)
        self.others.append([place, kind, codec.to_ms(at), codec.to_ms(tick), *rest])

    def row(self, seq: int) -> Row:
        """The row, without the others."""
        fresh = codec.write_fresh(self._fresh)
        return Row(seq, self._at_ms, self._tick_ms, fresh, self._marks)

    def _add(self, at: float, tick: float, number: float, stream: int) -> bool:
        record = (
            codec.to_ms(at) - self._at_ms,
            codec.to_ms(tick) - self._tick_ms,
            codec.to_kept(number),
            stream,
        )
        if not codec.fits(*record):
            return False
        self._fresh.append(record)
        return True


def plain_row(batch: Commit, seq: int, series: Series) -> Row | None:
    """The batch as a row alone, if it is nothing but readings and samples of known series."""
    if batch.needs_database:
        return None
    made = LogRow(batch)
    for item in batch.inputs:
        if not isinstance(item, Reading):
            return None
        number = series.known_probe(item.probe)
        if number is None or not made.reading(item, number):
            return None
    for sample in batch.samples:
        number = series.known_sample(sample)
        if number is None or not made.sample(sample, number):
            return None
    return made.row(seq)


def stream_of(item: Reading, series: int) -> int:
    """The stream that a reading of this series goes to."""
    return series * 4 + (codec.SURE if item.clock_sure else codec.UNSURE)


def _moment_of(batch: Commit) -> Moment:
    """The time of a batch that says none: that of its last input."""
    for item in reversed(batch.inputs):
        if isinstance(item, Entered | WatcherFault):
            return item.now
        return Moment(item.at, item.tick)
    newest = max((s.at for s in batch.samples), default=0.0)
    return Moment(newest, newest)
