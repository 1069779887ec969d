"""The journal's own numbers for what it keeps: a probe as it is configured, or a derived number.
Owned by `store`, which undoes what a failed transaction registered.

A probe whose unit, topic or offset was changed gets another number, so that an export can rebuild
the payloads of then."""

import sqlite3
from collections.abc import Iterable
from typing import Any, Literal

from monitor.journal.records import Sample
from monitor.site import Probe

Kind = Literal["probe", "sample"]


class Series:
    """The table `series`, in memory. Whatever registers one must be within a transaction."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        # The newest of a probe's numbers counts.
        self._numbers: dict[tuple[str, str], int] = {
            (kind, key): int(number)
            for number, kind, key in connection.execute(
                "SELECT id, kind, key FROM series ORDER BY id"
            )
        }

    def known_probe(self, key: str) -> int | None:
        """A probe's number; None: it is not registered yet."""
        return self._numbers.get(("probe", key))

    def known_sample(self, sample: Sample) -> int | None:
        """A derived number's number; None: it is not registered yet."""
        return self._numbers.get(("sample", _key(sample)))

    def of_probe(self, key: str) -> int:
        """A probe's number, registered if nobody configured it: a journal made by hand."""
        return self._numbers.get(("probe", key)) or self._register("probe", key)

    def of_sample(self, sample: Sample) -> int:
        """A derived number's number, registered if it is the first."""
        key = _key(sample)
        return self._numbers.get(("sample", key)) or self._register("sample", key)

    def know(self, probes: Iterable[Probe]) -> None:
        """Takes the probes as they are configured now."""
        known = {
            row[1:]: int(row[0])
            for row in self._connection.execute(
                "SELECT id, key, brooder, topic, place, unit, value_pointer, time_pointer,"
                " senml_name, offset_c FROM series WHERE kind = 'probe' ORDER BY id DESC"
            )
        }
        for probe in probes:
            self._know(probe, known)

    def so_far(self) -> dict[tuple[str, str], int]:
        """What is registered now, for `back_to`."""
        return dict(self._numbers)

    def back_to(self, numbers: dict[tuple[str, str], int]) -> None:
        """A series registered in a transaction undone is not known."""
        self._numbers = numbers

    def _know(self, probe: Probe, known: dict[tuple[Any, ...], int]) -> None:
        said = (
            probe.key,
            probe.brooder,
            probe.topic,
            probe.place.value,
            probe.unit.value,
            probe.value_pointer,
            probe.time_pointer,
            probe.senml_name,
            probe.offset_c,
        )
        number = known.get(said)
        if number is None:
            row = self._connection.execute(
                "INSERT INTO series (kind, key, brooder, topic, place, unit, value_pointer,"
                " time_pointer, senml_name, offset_c) VALUES ('probe', ?, ?, ?, ?, ?, ?, ?, ?, ?)"
                " RETURNING id",
                said,
            ).fetchone()
            number = int(row[0])
        self._numbers["probe", probe.key] = number

    def _register(self, kind: Kind, key: str) -> int:
        row = self._connection.execute(
            "INSERT INTO series (kind, key, topic, offset_c) VALUES (?, ?, ?, 0) RETURNING id",
            (kind, key, key),
        ).fetchone()
        number = self._numbers[kind, key] = int(row[0])
        return number


def _key(sample: Sample) -> str:
    return f"{sample.series}/{sample.name}"
